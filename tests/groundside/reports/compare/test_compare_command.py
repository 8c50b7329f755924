"""The `compare` command on simulated trial days whose truth is known."""

import json
import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from groundside.command_line import main
from groundside.reports.compare.trial_log import read_trial_log
from onboard.profile import Profile
from tests.craft.trial_day import Day, Setup
from tests.groundside.reports.compare.trial_days import (
    DAY,
    PROFILE,
    START_UNIX_S,
    Run,
    codes,
    compare,
    csv_sheet,
    day_made,
    difference,
    refused,
    run_marks,
    runs_of,
    setup_mark,
    text_of,
    toml_sheet,
    write_day,
    write_log,
    write_session,
)

Capsys = pytest.CaptureFixture[str]
BATTERY = """
[battery]
chemistry = "lfp"
cells = 8
energy_wh = 1024.0
"""
THREE = {"broad": Setup(), "slim": Setup(0.06, 1.9), "small": Setup(0.15, 1.5)}


def holds(figure: dict[str, float], truth: float) -> bool:
    return figure["low"] <= truth <= figure["high"]


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_day_whose_truth_is_known(seed: int, tmp_path: Path, capsys: Capsys) -> None:
    found = compare(capsys, write_day(tmp_path, DAY, seed))
    assert [one["name"] for one in found["setups"]] == ["broad", "slim"]
    assert [(one["double_runs"], one["runs"]) for one in found["setups"]] == [(4, 8)] * 2
    assert codes(found) == []
    (pair,) = found["pairs"]
    assert (pair["a"], pair["b"], pair["verdict"]) == ("broad", "slim", "a_better")
    assert pair["double_runs_needed"] is None
    # Wh/km at equal power: 1 / 1.06 - 1.
    assert holds(difference(found, "broad", "slim"), 1.0 / 1.06 - 1.0)
    made = day_made(DAY, seed)
    for one in found["setups"]:
        assert one["power_w"] == found["power_w"] == pytest.approx(400.0 * 1.008, rel=0.02)
        # The day's sensors read 0.8 % too much, which the interval of Wh/km allows for.
        assert holds(one["wh_per_km"], made.wh_per_km(one["name"], 400.0))
        assert one["speed_mps"]["value"] == pytest.approx(made.speed_mps[one["name"]], rel=0.02)


def test_the_json_has_all_evidence(tmp_path: Path, capsys: Capsys) -> None:
    found = compare(capsys, write_day(tmp_path))
    assert len(found["legs"]) == 16
    assert len(found["double_runs"]) == 8
    for one in found["double_runs"]:
        assert sum(one["weights"]) == pytest.approx(1.0)
        for n in one["legs"]:
            assert found["legs"][n - 1]["setup"] == one["setup"]
    assert sorted(n for one in found["double_runs"] for n in one["legs"]) == list(range(1, 17))
    assert (found["left_out"], found["alone"], found["passed_over"]) == ([], [], [])
    statistics = found["statistics"]
    assert statistics["method"] == "pooled"
    assert statistics["degrees_of_freedom"] == 6
    assert 0.002 < statistics["double_run_sd_fraction"] < 0.03


@pytest.mark.slow
def test_three_set_ups(tmp_path: Path, capsys: Capsys) -> None:
    order = ("broad", "slim", "small", "small", "slim", "broad") * 2
    found = compare(capsys, write_day(tmp_path, Day(THREE, order), 4))
    assert [one["name"] for one in found["setups"]] == ["broad", "slim", "small"]
    assert len(found["pairs"]) == 3
    for a, b, truth in [
        ("broad", "slim", 1 / 1.06), ("broad", "small", 1 / 1.15), ("slim", "small", 1.06 / 1.15),
    ]:  # fmt: skip
        assert holds(difference(found, a, b), truth - 1.0)


@pytest.mark.slow
def test_slightly_different_powers_are_brought_to_one(tmp_path: Path, capsys: Capsys) -> None:
    day = replace(DAY, setup_power_w={"slim": 425.0})
    found = compare(capsys, write_day(tmp_path, day, 3))
    assert codes(found) == ["power_not_held"]
    assert holds(difference(found, "broad", "slim"), 1.0 / 1.06 - 1.0)
    by_name = {one["name"]: one for one in found["setups"]}
    assert by_name["slim"]["correction_fraction"] < -0.005 < 0.005
    assert by_name["broad"]["correction_fraction"] > 0.005
    text = text_of(capsys, tmp_path / "runs.toml", "--details")
    assert "broad was run at 40" in text
    assert "slim was run at 42" in text


@pytest.mark.slow
def test_csv_and_toml_sheets_are_equivalent(tmp_path: Path, capsys: Capsys) -> None:
    sheet = write_day(tmp_path)
    csv_sheet(tmp_path / "runs.csv", runs_of(day_made(DAY, 1)), encoding="utf-8-sig")
    assert compare(capsys, sheet) == compare(capsys, tmp_path / "runs.csv")


def test_a_sheet_in_another_folder(
    tmp_path: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "logs").mkdir()
    write_log(tmp_path / "logs" / "day.tlog", day_made(DAY, 1))
    sheet = tmp_path / "runs.toml"
    sheet.write_text(toml_sheet(runs_of(day_made(DAY, 1), "logs/day.tlog")))
    monkeypatch.chdir(os.sep)
    assert compare(capsys, sheet)["pairs"][0]["verdict"] == "a_better"


@pytest.mark.slow
def test_marks_define_runs_and_set_ups(tmp_path: Path, capsys: Capsys) -> None:
    made = day_made(DAY, 1)
    marks, before = [], None
    for run in runs_of(made):
        if run.setup != before:
            marks.append(setup_mark(run.start_s - 10.0, run.setup))
            before = run.setup
        marks += run_marks(run)
    write_session(tmp_path / "session", made, marks)
    by_marks = compare(capsys, tmp_path / "session")
    by_sheet = compare(capsys, write_day(tmp_path))
    assert [one["setup"] for one in by_marks["legs"]] == [one["setup"] for one in by_sheet["legs"]]
    ours, theirs = (difference(one, "broad", "slim") for one in (by_marks, by_sheet))
    assert ours["value"] == pytest.approx(theirs["value"], abs=2e-3)
    # A sheet may name the session, and leave the set-ups and runs to its marks' times.
    sheet = tmp_path / "session.toml"
    sheet.write_text('[[run]]\nsetup = "all"\nlog = "session"\n')
    assert "one set-up only, 'all'" in refused(capsys, sheet)


@pytest.mark.slow
def test_runs_are_found_between_changes_of_set_up(tmp_path: Path, capsys: Capsys) -> None:
    made = day_made(DAY, 1)
    marks, before = [], None
    for run in runs_of(made):
        if run.setup != before:
            marks.append(setup_mark(max(run.start_s - 22.0, 0.0), run.setup))
            before = run.setup
    write_session(tmp_path / "session", made, marks)
    found = compare(capsys, tmp_path / "session")
    assert [one["setup"] for one in found["legs"]] == [name for name, _, _ in made.legs]
    assert holds(difference(found, "broad", "slim"), 1.0 / 1.06 - 1.0)


def part_logs(folder: Path, names: str, *, starts_s: list[float]) -> Path:
    """Write a log for each of some set-ups, whole rides without marks, and a sheet."""
    runs = []
    for n, (name, start_s) in enumerate(zip(names, starts_s, strict=True)):
        setup = {"b": "broad", "s": "slim"}[name]
        day = Day(DAY.setups, (setup, setup))
        write_log(folder / f"{n}.tlog", day_made(day, 20 + n), start_s)
        runs.append(f'[[run]]\nsetup = "{setup}"\nlog = "{n}.tlog"\n')
    sheet = folder / "logs.toml"
    sheet.write_text("".join(runs))
    return sheet


CLOCKS = {
    "right": [START_UNIX_S + 700.0 * n for n in range(4)],
    "never set": [1000.0 + 700.0 * n for n in range(4)],
    "all the same": [START_UNIX_S] * 4,
    "one never set": [START_UNIX_S, START_UNIX_S + 700.0, 50.0, START_UNIX_S + 2100.0],
}


@pytest.mark.slow
@pytest.mark.parametrize("clocks", CLOCKS)
def test_found_runs_of_several_logs_of_a_day(clocks: str, tmp_path: Path, capsys: Capsys) -> None:
    found = compare(capsys, part_logs(tmp_path, "bssb", starts_s=CLOCKS[clocks]))
    assert {one["outing"] for one in found["legs"]} == {1}
    assert [one["log"] for one in found["legs"]] == sorted(one["log"] for one in found["legs"])
    assert [(one["double_runs"], one["runs"]) for one in found["setups"]] == [(4, 8)] * 2
    assert holds(difference(found, "broad", "slim"), 1.0 / 1.06 - 1.0)


@pytest.mark.slow
def test_logs_are_sorted_by_their_clocks(tmp_path: Path, capsys: Capsys) -> None:
    starts = [START_UNIX_S + 700.0 * n for n in (2, 0, 3, 1)]
    found = compare(capsys, part_logs(tmp_path, "bssb", starts_s=starts))
    order = list(dict.fromkeys(one["log"] for one in found["legs"]))
    assert order == ["1.tlog", "3.tlog", "0.tlog", "2.tlog"]


@pytest.mark.slow
def test_two_days_are_two_outings(tmp_path: Path, capsys: Capsys) -> None:
    starts = [START_UNIX_S + s for s in (0.0, 700.0, 86_400.0, 87_100.0)]
    found = compare(capsys, part_logs(tmp_path, "bssb", starts_s=starts))
    assert [one["outing"] for one in found["legs"]] == [1] * 8 + [2] * 8
    # Each day has both set-ups, which are compared within it.
    assert holds(difference(found, "broad", "slim"), 1.0 / 1.06 - 1.0)


@pytest.mark.slow
def test_one_day_per_set_up_is_not_compared(tmp_path: Path, capsys: Capsys) -> None:
    starts = [START_UNIX_S + s for s in (0.0, 700.0, 86_400.0, 87_100.0)]
    found = compare(capsys, part_logs(tmp_path, "bbss", starts_s=starts))
    (pair,) = found["pairs"]
    assert pair["verdict"] == "cannot_tell"
    assert pair["difference_fraction"] is None
    assert pair["why"] == {"difference_fraction": {"code": "never_together"}}
    assert codes(found) == ["order_confounded"]


@pytest.mark.slow
def test_a_span_without_a_run_is_passed_over_with_a_remark(tmp_path: Path, capsys: Capsys) -> None:
    sheet = write_day(tmp_path)
    sheet.write_text(sheet.read_text() + toml_sheet([Run("slim", "day.tlog", 0, 20)]))
    found = compare(capsys, sheet)
    (passed,) = found["passed_over"]
    assert passed == {
        "code": "no_run_found",
        "log": "day.tlog",
        "from_s": pytest.approx(0.0, abs=1e-6),
        "text": "day.tlog from 0 s: no straight run with known power and speed in it",
    }
    assert "Does not count: day.tlog from 0 s" in text_of(capsys, sheet)


@pytest.mark.slow
def test_the_profile_s_sensors_are_applied(tmp_path: Path, capsys: Capsys) -> None:
    sheet = write_day(tmp_path)
    before = compare(capsys, sheet)
    scaled = tmp_path / "scaled.toml"
    scaled.write_text(PROFILE.replace("[sensors]", "[sensors]\ncurrent_scale = 1.1"))
    after = compare(capsys, sheet, "--profile", scaled)
    assert after["power_w"] == pytest.approx(1.1 * before["power_w"], rel=1e-6)
    assert difference(after, "broad", "slim")["value"] == pytest.approx(
        difference(before, "broad", "slim")["value"], abs=3e-4
    )
    assert refused(capsys, sheet, "--profile", tmp_path / "none.toml").startswith(
        f"{tmp_path}/none.toml: cannot be read"
    )


@pytest.mark.slow
def test_text_is_in_the_rider_s_units(tmp_path: Path, capsys: Capsys) -> None:
    sheet = write_day(tmp_path)
    found = compare(capsys, sheet)
    text = text_of(capsys, sheet, "--units", "kn")
    cost = found["setups"][0]["wh_per_km"]["value"] * 1.852
    assert "Wh/NM" in text
    assert f" {cost:.1f} " in text
    assert found == compare(capsys, sheet, "--units", "kn")


def test_help_has_an_example(capsys: Capsys) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["compare", "--help"])
    assert ended.value.code == 0
    text = capsys.readouterr().out
    assert "compare propellers.toml" in text
    assert "--json" in text


def test_json_holds_no_infinite_number(tmp_path: Path, capsys: Capsys) -> None:
    assert main(["compare", str(write_day(tmp_path)), "--json"]) == 0
    out = capsys.readouterr().out
    assert out.isascii()
    json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))


@pytest.mark.slow
def test_the_cruise_goes_beside_equal_power(tmp_path: Path, capsys: Capsys) -> None:
    sheet = write_day(tmp_path)
    (tmp_path / "profile.toml").write_text(f"{PROFILE}{BATTERY}")
    options = ("--profile", tmp_path / "profile.toml", "--speed-mps", 2.2)
    found, text = compare(capsys, sheet, *options), text_of(capsys, sheet, *options)
    assert "At 7.9 km/h (equal power is the fair test; this follows from it):" in text
    cruise = found["cruise"]
    assert cruise["speed_mps"] == 2.2
    for one in cruise["setups"]:
        assert f" {one['wh_per_km']['value']:.1f} " in text
        assert one["range_m"]["low"] < one["range_m"]["value"] < one["range_m"]["high"]
    half = compare(capsys, sheet, *options, "--battery-wh", 8 * 3.2 * 20.0)["cruise"]
    ratios = [
        a["range_m"]["value"] / b["range_m"]["value"]
        for a, b in zip(half["setups"], cruise["setups"], strict=True)
    ]
    assert ratios == pytest.approx([0.5, 0.5], rel=0.03)


def trial_mark(at_s: float, setups: Sequence[str] | None, kind: str) -> dict[str, Any]:
    value = None if setups is None else {"setups": list(setups), "kind": kind}
    return {"at_s": at_s, "kind": "set", "key": "trial", "value": value}


@pytest.mark.slow
def test_a_session_with_the_coach_needs_no_sheet(tmp_path: Path, capsys: Capsys) -> None:
    made = day_made(DAY, 1)
    runs = runs_of(made)
    marks = [trial_mark(1.0, ("broad", "slim"), "there_and_back")]
    for before, run in zip([None, *runs], runs, strict=False):
        if before is None or before.setup != run.setup:
            marks.append(setup_mark(run.start_s - 12.0, run.setup))
    # Ended before the last two double runs, which are no part of the trial.
    marks.append(trial_mark(runs[-4].start_s - 14.0, None, ""))
    write_session(tmp_path / "session", made, marks)
    found = compare(capsys, tmp_path / "session")
    assert [one["name"] for one in found["setups"]] == ["broad", "slim"]
    assert [one["double_runs"] for one in found["setups"]] == [3, 3]
    assert read_trial_log(tmp_path / "session", Profile()).coached
    assert not read_trial_log(write_day(tmp_path).parent / "day.tlog", Profile()).coached
