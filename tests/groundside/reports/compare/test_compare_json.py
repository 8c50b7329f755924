"""A trial as JSON: the documented keys, and unknown values with their reason."""

import json
from pathlib import Path

import pytest

from tests.craft.trial_day import Day
from tests.groundside.reports.compare.trial_days import (
    START_UNIX_S,
    TWO,
    compare,
    day_made,
    runs_of,
    toml_sheet,
    write_day,
    write_log,
)

TOP = {
    *("schema", "power_w", "setups", "pairs", "warnings", "legs", "double_runs", "left_out"),
    *("alone", "passed_over", "statistics", "power_split", "power_split_pairs"),
}
LEG = {
    *("number", "setup", "log", "outing", "start_s", "seconds_s", "course_deg", "power_w"),
    *("power_sd_w", "speed_mps", "speed_sd_mps", "volts_v", "rpm", "motor_amps_a"),
    "water_along_mps",
}


def test_keys(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = compare(capsys, write_day(tmp_path, Day(TWO, ("broad", "slim", "slim", "broad"))))
    assert set(found) == TOP
    assert [set(one) for one in found["legs"]] == [LEG] * 8
    assert [one["number"] for one in found["legs"]] == list(range(1, 9))
    assert found["legs"][0]["start_s"] == 0.0
    assert {one["log"] for one in found["legs"]} == {"day.tlog"}
    for one in found["setups"]:
        for key in ("speed_mps", "wh_per_km"):
            assert list(one[key]) == ["value", "low", "high"]
            assert one[key]["low"] < one[key]["value"] < one[key]["high"]
    # What no instrument measures is null, never 0.
    assert {one["rpm"] for one in found["legs"]} == {None}


def test_unknown_is_null_with_its_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "runs.toml"
    text = ""
    for n, name in enumerate(TWO):
        # On two days: they were never run together.
        day = day_made(Day(TWO, (name,)), n)
        write_log(tmp_path / f"{n}.tlog", day, START_UNIX_S + n * 24 * 3600.0)
        text += toml_sheet(runs_of(day, f"{n}.tlog"))
    sheet.write_text(text)
    found = compare(capsys, sheet)
    (pair,) = found["pairs"]
    assert pair["difference_fraction"] is pair["double_runs_needed"] is None
    assert pair["why"] == {"difference_fraction": {"code": "never_together"}}
    assert pair["why_not"] == {"code": "never_together"}
    assert found["statistics"]["double_run_sd_fraction"] is None
    assert found["statistics"]["degrees_of_freedom"] == 0
    assert "NaN" not in json.dumps(found)


@pytest.mark.slow
def test_unpaired_and_left_out_legs_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    turns = Day(TWO, ("broad", "slim", "slim", "broad") * 2, outlier_leg=6)
    sheet = write_day(tmp_path, turns)
    found = compare(capsys, sheet)
    assert found["left_out"] == [{"setup": "broad", "legs": [7, 8]}]
    assert len(found["double_runs"]) == 7
    # Without the last run back, the run out is unpaired.
    sheet.write_text(sheet.read_text().rsplit("[[run]]", 1)[0])
    assert compare(capsys, sheet)["alone"] == [{"leg": 15, "why": {"code": "no_run_back"}}]
