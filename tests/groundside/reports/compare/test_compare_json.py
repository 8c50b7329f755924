"""A trial as JSON: the documented keys, and unknown values with their reason."""

import json
from pathlib import Path

import pytest

from tests.craft import lap_day
from tests.craft.lap_day import LapDay
from tests.craft.telemetry_log import log_bytes
from tests.craft.trial_day import Day, Setup
from tests.groundside.reports.compare.trial_days import (
    START_UNIX_S,
    TWO,
    Run,
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
    *("places", "next_runs", "told_fraction", "shared_sd_fraction", "cruise"),
}
LEG = {
    *("number", "setup", "log", "outing", "start_s", "seconds_s", "course_deg", "power_w"),
    *("power_sd_w", "speed_mps", "speed_sd_mps", "volts_v", "rpm", "motor_amps_a"),
    *("water_along_mps", "lap_m", "from_s", "utc"),
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
    assert {one["utc"] for one in found["legs"]} > {"2025-06-15T15:07:04Z"}
    assert [one["from_s"] for one in found["legs"]] == pytest.approx(
        [one["start_s"] + found["legs"][0]["from_s"] for one in found["legs"]]
    )
    assert {one["lap_m"] for one in found["legs"]} == {None}
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


@pytest.mark.slow
def test_the_places_and_what_to_ride_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    three = Day({"a": Setup(), "b": Setup(0.01), "c": Setup(0.12)}, tuple("abccba"))
    found = compare(capsys, write_day(tmp_path, three, 2))
    names = [one["name"] for one in found["setups"]]
    assert [one["name"] for one in found["places"]] == names
    assert [one["group"] for one in found["places"]] == [0, 0, 1]
    best = found["places"][0]
    assert best["behind_fraction"] == {"value": 0.0, "low": None, "high": None}
    assert sum(one["chance_best"] for one in found["places"]) == pytest.approx(1.0)
    ahead = found["next_runs"]
    assert ahead["enough"] is False
    assert set(ahead["order"]) == {"a", "b"}
    assert ahead["drop"] == ["c"]
    assert ahead["rounds"] > 0
    assert 0.01 < found["told_fraction"] < 0.1
    # The profile's current scale, and the usual offset and voltage scale.
    assert 0.02 < found["shared_sd_fraction"] < 0.03
    assert found["cruise"] is None


@pytest.mark.slow
def test_the_cruise_with_reasons(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = write_day(tmp_path)
    near = compare(capsys, sheet, "--speed-mps", 2.1)["cruise"]
    assert near["speed_mps"] == 2.1
    for one in near["setups"]:
        assert one["wh_per_km"]["low"] < one["wh_per_km"]["value"] < one["wh_per_km"]["high"]
        assert one["range_m"] is None
        assert one["why"] == {"range_m": {"code": "no_battery"}}
        assert isinstance(one["by_own_curve"], bool)
    far = compare(capsys, sheet, "--speed-mps", 1.0)["cruise"]
    for one in far["setups"]:
        assert one["wh_per_km"] is None
        assert one["why"]["wh_per_km"] == {"code": "not_learned_there"}


@pytest.mark.slow
def test_laps_have_a_length_and_no_course(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    day = lap_day.make(LapDay(TWO, ("broad", "slim", "slim", "broad")), 1)
    (tmp_path / "day.tlog").write_bytes(log_bytes(day.frames, START_UNIX_S))
    sheet = tmp_path / "runs.toml"
    sheet.write_text(toml_sheet(Run(name, "day.tlog", a, b) for name, a, b in day.stints))
    found = compare(capsys, sheet)
    assert [one["laps"] for one in found["setups"]] == [2, 2]
    assert [one["double_runs"] for one in found["setups"]] == [0, 0]
    laps = [one for one in found["legs"] if one["lap_m"] is not None]
    assert len(laps) == 4
    for one in laps:
        assert one["lap_m"] == pytest.approx(500.0, rel=0.05)
        assert one["course_deg"] is None
