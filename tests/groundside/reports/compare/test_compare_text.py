"""A comparison as text: one screen in 80 columns, and its evidence with `--details`."""

import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from groundside.reports.text_layout import hanging
from groundside.words.remarks import caution_text
from groundside.words.units import DEFAULT
from onboard.contract.remarks import Caution, CautionCode
from tests.craft.trial_day import Day, Setup
from tests.groundside.reports.compare.trial_days import (
    DAY,
    TWO,
    Run,
    codes,
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
    sheet = write_day(tmp_path, DAYS[day], 3)
    first = lines_of(text_of(capsys, sheet, "--units", units))
    text = text_of(capsys, sheet, "--units", units, "--details")
    lines = lines_of(text)
    assert lines[0].startswith("At ")
    assert lines[: len(first)] == first
    joined = " ".join(text.split())
    assert "in general." in joined
    assert "egrees of freedom" in joined
    assert "Next: " in joined
    for name in DAYS[day].setups:
        assert f"{name} was run at" in joined


def seven(costs: tuple[float, ...]) -> Day:
    setups = {f"propeller number {n}": Setup(cost) for n, cost in enumerate(costs)}
    return Day(setups, (*setups, *reversed(setups)), double_run_sd=0.004)


GOOD = {
    "two": DAY,
    "seven alike": seven((0.0,) * 7),
    "seven apart": seven((0.0, 0.06, 0.12, 0.18, 0.25, 0.3, 0.36)),
    "seven mixed": seven((0.0, 0.01, 0.02, 0.05, 0.06, 0.09, 0.14)),
}


@pytest.mark.slow
@pytest.mark.parametrize("day", GOOD)
def test_a_good_day_fits_one_screen(day: str, tmp_path: Path, capsys: Capsys) -> None:
    """Found: seven set-ups were a wall of 21 sentences, in the order of the sheet."""
    sheet = write_day(tmp_path, GOOD[day], 2)
    found, lines = compare(capsys, sheet), lines_of(text_of(capsys, sheet))
    assert codes(found) == []
    assert len(lines) <= 24
    ranked = [line for line in lines if line.endswith(("  2", "  4"))]
    assert len(ranked) == len(found["setups"])
    for line, one, place in zip(ranked, found["setups"], found["places"], strict=True):
        assert one["name"][-4:] in line
        assert f" {one['wh_per_km']['value']:.1f} " in line
        if place is not found["places"][0]:
            behind = place["behind_fraction"]
            low, high = 100 * behind["low"], 100 * behind["high"]
            assert f"{100 * behind['value']:.1f} % ({low:.1f} to {high:.1f})" in line
    # A gap before each group but the first.
    gaps = [lines[lines.index(line) - 1] == "" for line in ranked[1:]]
    groups = [one["group"] for one in found["places"]]
    assert gaps == [a != b for a, b in pairwise(groups)]
    assert sum("sensors' gain" in line for line in lines) == 1


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
    ranked = [line[4:24] for line in lines if line.endswith("  2")]
    assert len(set(ranked)) == 2


CAUTIONS = (
    Caution(
        CautionCode.POWER_NOT_HELD, setups=("three blades", "slim"), powers_w=(440.0, 400.0),
        run_to_run_fraction=None, within_run_fraction=None, held="not_known",
    ),
    Caution(CautionCode.MOTOR_CURRENT_HELD, motor_amps_a=30.0),
    Caution(CautionCode.TOO_FEW_DOUBLE_RUNS, setups=("three blades", "slim")),
    Caution(CautionCode.USUAL_SCATTER, sd_fraction=0.015),
    Caution(CautionCode.CURRENT_CHANGED, change_mps=0.3, leg_sd_mps=None),
    Caution(CautionCode.CURRENT_CHANGED, change_mps=None, leg_sd_mps=0.1),
    Caution(CautionCode.OUTLIER_RUN, run_numbers=(7, 8), setup="three blades"),
    Caution(CautionCode.ORDER_CONFOUNDED, setups=("three blades",), others=("slim",)),
    Caution(CautionCode.ORDER_CONFOUNDED, setups=("slim",) * 6, others=tuple("abcdef")),
    Caution(
        CautionCode.COURSES_DIFFER, usual_lap_m=500.0, run_numbers=(6,), setups=("slim",),
        ways=("longer",), laps_m=(560.0,),
    ),
    Caution(
        CautionCode.VOLTAGE_DIFFERS, setup="three blades", voltage_v=26.0, other="slim",
        other_voltage_v=24.0,
    ),
    Caution(
        CautionCode.TEMPERATURE_DIFFERS, pack_setup="three blades", pack_degc=30.0,
        pack_other="slim", pack_other_degc=22.0, drive_setup=None, drive_degc=None,
        drive_other=None, drive_other_degc=None,
    ),
)  # fmt: skip

STEPS = ("ride", "charge", "hold", "run each", "let it", "wait")
"""How a next step begins."""


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda one: one.code.code)
def test_each_caution_fits_two_lines_and_ends_with_its_next_step(caution: Caution) -> None:
    text = caution_text(caution, DEFAULT)
    assert len(hanging(f"Caution: {text}")) <= 2
    last = re.split(r"[.?:] ", text)[-1].lower()
    assert last.startswith(STEPS), last


def test_every_caution_is_among_them() -> None:
    assert {one.code for one in CAUTIONS} == set(CautionCode)
