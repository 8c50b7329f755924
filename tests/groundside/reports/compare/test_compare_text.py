"""A trial as text: every verdict with its evidence, in 80 columns."""

from dataclasses import replace
from pathlib import Path

import pytest

from groundside.reports.compare.compare_text import _split_sentence, pair_sentence
from groundside.reports.compare.power_splits import PairSplit
from groundside.words.units import DEFAULT
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.results import PairResult
from tests.craft.trial_day import Day, Setup
from tests.groundside.reports.compare.trial_days import (
    DAY,
    TWO,
    Run,
    compare,
    day_made,
    run_marks,
    runs_of,
    setup_mark,
    text_of,
    write_day,
    write_session,
)

Capsys = pytest.CaptureFixture[str]
LONG = "three blades of carbon, tips cut down by a"
NAMES = {f"{LONG} hair": Setup(), f"{LONG} thumb": Setup(0.05, 1.9), "x": Setup(0.1)}
FEW = Unknown(Reason.TOO_FEW_DOUBLE_RUNS)
A, B = Figure(-0.07, -0.1, -0.04), Figure(0.01, -0.02, 0.04)


@pytest.mark.parametrize(
    ("pair", "sentence"),
    [
        (
            PairResult("A", "B", A, "a_better", None, 0.001, 6.0),
            "A uses 7.0 % less than B (4.0 to 10.0 %).",
        ),
        (
            # 1 / 1.25 - 1 = -20 %, 1 / 1.6 - 1 = -37.5 %, 1 / 1.111 - 1 = -10 %.
            PairResult("A", "B", Figure(0.25, 1 / 0.9 - 1, 0.6), "b_better", None, 0.001, 6.0),
            "B uses 20.0 % less than A (10.0 to 37.5 %).",
        ),
        (
            PairResult("A", "B", B, "cannot_tell", 6, 0.4, 6.0),
            "A and B cannot be told apart: about 6 more double runs would tell 3 % (A uses 2.0 % "
            "less to 4.0 % more than B).",
        ),
        (
            PairResult("A", "B", Figure(0.001, -0.01, 0.012), "cannot_tell", 0, 0.9, 20.0),
            "A and B cannot be told apart: enough was run to find 3 %, so if they differ it is by "
            "less (A uses 1.0 % less to 1.2 % more than B).",
        ),
        (
            PairResult("A", "B", B, "cannot_tell", 0, 0.4, 6.0),
            "A and B cannot be told apart: enough was run to find 3 % most times, but as much "
            "is not ruled out (A uses 2.0 % less to 4.0 % more than B).",
        ),
        (
            PairResult("A", "B", B, "cannot_tell", None, 0.4, 6.0),
            "A and B cannot be told apart (A uses 2.0 % less to 4.0 % more than B).",
        ),
        (
            PairResult("A", "B", A, "cannot_tell", None, 0.01, 6.0, Unknown(Reason.DRIFT_POSSIBLE)),
            "A and B cannot be told apart: all runs of one came before all of the other, so "
            "a step or drift may be what differs (A uses 4.0 to 10.0 % less than B).",
        ),
        (
            PairResult("A", "B", Figure(0.06, 0.01, 0.11), "cannot_tell", 3, 0.2, 1.0, FEW),
            "A and B cannot be told apart: too few double runs; about 3 more double runs would "
            "tell 3 % (A uses 1.0 to 11.0 % more than B).",
        ),
        (
            PairResult("A", "B", Unknown(Reason.NEVER_TOGETHER), "cannot_tell", None, None, 0),
            "A and B cannot be told apart: they were never run on the same outing.",
        ),
    ],
)
def test_the_sentence_for_each_verdict(pair: PairResult, sentence: str) -> None:
    assert pair_sentence(pair, DEFAULT) == sentence


@pytest.mark.parametrize(
    ("motor", "rest", "ending"),
    [
        (0.01, -0.04, " In the motor A loses part of what it gains in the water."),
        (0.03, -0.04, " In the motor A loses most of what it gains in the water."),
        (0.05, -0.04, " In the motor A loses more than what it gains in the water."),
        (-0.01, 0.04, " In the water A loses more than what it gains in the motor."),
        (0.005, -0.04, ""),
        (-0.01, -0.04, ""),
    ],
)
def test_the_sentence_for_gains_and_losses(motor: float, rest: float, ending: str) -> None:
    text = _split_sentence(PairSplit("A", "B", motor, rest), sure=True)
    assert text.endswith(f"drive {100 * motor:+.1f} %.{ending}")
    assert f"make {100 * rest:+.1f} %" in text


def lines_of(text: str) -> list[str]:
    lines = text.splitlines()
    assert all(len(line) <= 80 for line in lines), max(lines, key=len)
    assert all(line.isprintable() for line in lines)
    return lines


DAYS = {
    "clear": DAY,
    "long names": Day(NAMES, (*NAMES, *reversed(NAMES)), power_sd=0.05, drive_telemetry="motor"),
    "one each": Day(TWO, ("broad", "slim"), drive_telemetry="input"),
    "drift": Day(TWO, ("broad",) * 4 + ("slim",) * 4, trend=0.15),
    "everything": Day(
        NAMES,
        (*NAMES, *reversed(NAMES)) * 2,
        held_motor_a=30.0,
        current_change_mps=0.3,
        outlier_leg=4,
        second_pack=("x", 3.7),
        warm=("x", 35.0),
        drive_telemetry="motor",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("day", DAYS)
@pytest.mark.parametrize("units", ["km/h", "kn", "m/s"])
def test_lines_fit_80_columns(day: str, units: str, tmp_path: Path, capsys: Capsys) -> None:
    text = text_of(capsys, write_day(tmp_path, DAYS[day], 3), "--units", units)
    lines = lines_of(text)
    assert lines[0].startswith("At ")
    joined = " ".join(text.split())
    assert "in general." in joined
    assert "egrees of freedom" in joined
    assert "Next: " in joined
    for name in DAYS[day].setups:
        assert f"{name} was run at" in joined


@pytest.mark.slow
def test_the_next_step(tmp_path: Path, capsys: Capsys) -> None:
    few = Day({"a": Setup(), "b": Setup(0.005)}, ("a", "b", "b", "a"), double_run_sd=0.02)
    text = " ".join(text_of(capsys, write_day(tmp_path, few, 3)).split())
    (needed,) = [
        one["double_runs_needed"] for one in compare(capsys, tmp_path / "runs.toml")["pairs"]
    ]
    assert needed > 0
    assert f"Next: {needed} more double runs at" in text
    assert "Next: if you ride at another power" in " ".join(
        text_of(capsys, write_day(tmp_path)).split()
    )


@pytest.mark.slow
def test_the_next_step_depends_on_the_cautions(tmp_path: Path, capsys: Capsys) -> None:
    def next_of(day: Day) -> str:
        return " ".join(text_of(capsys, write_day(tmp_path, day)).split()).split("Next: ")[1]

    trap = Day(TWO, ("broad", "slim", "slim", "broad") * 2, held_motor_a=30.0)
    assert "W of battery power, held in every run, " in next_of(trap)
    assert "held in every run" not in next_of(DAY)
    equal = Day({"a": Setup(), "b": Setup()}, tuple("abbaabba"), double_run_sd=0.004)
    assert next_of(equal).startswith("as far as these runs tell, take whichever suits you")


def test_a_label_never_steers_the_terminal(tmp_path: Path, capsys: Capsys) -> None:
    made = day_made(DAY, 1)
    marks = []
    for run in runs_of(made):
        marks += [setup_mark(run.start_s - 10.0, run.setup), *run_marks(run)]
    marks += run_marks(Run("x", "", 10_000.0, 20_000.0))
    write_session(tmp_path / "ses\x1b[31msion", made, marks)
    lines = lines_of(text_of(capsys, tmp_path / "ses\x1b[31msion"))
    assert any("ses?[31msion from 10000 s" in line for line in lines)


def test_similar_long_labels_are_distinguished(tmp_path: Path, capsys: Capsys) -> None:
    day = Day({f"{LONG} 1 {LONG}": Setup(), f"{LONG} 2 {LONG}": Setup(0.08)}, ())
    day = replace(day, order=(*day.setups, *reversed(day.setups)))
    lines = lines_of(text_of(capsys, write_day(tmp_path, day)))
    ranked = [line.split("  ")[0] for line in lines[3:5]]
    assert ranked[0][3:] != ranked[1][3:]
