"""CSV output, read back by the csv module: equal to the JSON."""

import csv
import io
import json
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from groundside.command_line import main
from groundside.reports.review.csv_rows import COLUMNS, as_csv, header
from groundside.reports.review.parallel_review import ReviewOutcome, review_logs
from groundside.reports.review.review_output import review_json
from groundside.studies.review_result import Review
from onboard.contract.figure import Figure
from onboard.profile import profile_for
from tests.contract_examples import example

LOGS = Path(__file__).parents[4] / "replay_logs"
SKIFF, CRAFT = LOGS / "harbour_loop.tlog", LOGS / "harbour_loop.toml"
UNITS = ("_s", "_m", "_wh", "_ah", "_w", "_mps", "_ohm", "_fraction", "wh_per_km")


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def number(text: str) -> float | None:
    return float(text) if text else None


IN_JSON = {
    **dict.fromkeys(("left_wh", "left_fraction", "resistance_ohm"), "battery"),
    **dict.fromkeys(("water_east_mps", "water_north_mps"), "set_and_drift"),
    **dict.fromkeys(("range_m", "time_left_s"), ""),
}
"""The JSON object that holds a column's value, if not the trip."""


def at(result: dict, name: str) -> object:
    room = IN_JSON.get(name, "trip")
    where = result[room] if room else result
    return None if where is None else where[name.removeprefix("water_")]


@pytest.mark.parametrize("profile", [CRAFT, None])
def test_values_equal_the_json(profile: Path | None) -> None:
    reviewed = review_logs([SKIFF, LOGS / "at_anchor.tlog"], partial(profile_for, profile))
    rows = rows_of(as_csv(reviewed))
    assert [row["log"] for row in rows] == [str(one.path) for one in reviewed]
    for row, one in zip(rows, reviewed, strict=True):
        assert one.result is not None
        result = json.loads(json.dumps(review_json(one.result)))
        assert row["start_utc"] == result["log"]["start_utc"]
        assert float(row["duration_s"]) == result["log"]["duration_s"]
        assert int(row["events"]) == len(result["events"])
        for column in COLUMNS:
            in_json = at(result, column.name)
            value = in_json["value"] if isinstance(in_json, dict) else in_json
            assert column.spans == isinstance(in_json, dict) or in_json is None
            assert number(row[column.name]) == value, column.name
    assert reviewed[0].result is not None
    trip = reviewed[0].result.trip
    assert isinstance(trip.distance_m, Figure)
    assert isinstance(trip.wh_per_km, Figure)
    assert float(rows[0]["distance_low_m"]) == trip.distance_m.low
    assert float(rows[0]["high_wh_per_km"]) == trip.wh_per_km.high
    assert rows[1]["wh_per_km"] == ""  # at anchor: unknown, not nought
    assert (rows[0]["left_wh"] == "") == (profile is None)


def test_each_column_reads_its_own_field() -> None:
    # Each figure of this review is a different number.
    whole = example(Review)
    trip = replace(whole.trip, moving_s=1.0)
    (row,) = rows_of(as_csv([ReviewOutcome(SKIFF, replace(whole, trip=trip, events=()))]))
    result = json.loads(json.dumps(review_json(replace(whole, trip=trip, events=()))))
    values = [row[column.name] for column in COLUMNS]
    assert len({*values}) == len(values)
    for column in COLUMNS:
        in_json = at(result, column.name)
        assert number(row[column.name]) == (
            in_json["value"] if isinstance(in_json, dict) else in_json
        )


def test_each_number_s_column_names_its_unit() -> None:
    words = {"log", "start_utc", "events", "problem"}
    assert all(name.endswith(UNITS) for name in header() if name not in words)
    assert len(set(header())) == len(header())


def test_quoted_names_and_problems_are_read_back(tmp_path: Path) -> None:
    name = tmp_path / 'a "long", ride\nof two lines.tlog'
    problem = 'says "no", twice'
    text = as_csv([ReviewOutcome(name, None, problem)])
    (row,) = rows_of(text)
    assert row["log"] == str(name)
    assert row["problem"] == problem
    assert row["distance_m"] == ""
    # RFC 4180, 2.1: each record ends in CR LF.
    assert text.count("\r\n") == 2
    assert "\udcff" not in as_csv([ReviewOutcome(Path("ride\udcff"), None, "")])


def test_standard_output_with_unreadable_logs(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["review", str(SKIFF), "/no/such/log", "--csv"]) == 2
    out, err = capsys.readouterr()
    rows = rows_of(out)
    assert float(rows[0]["energy_wh"]) > 50
    assert "no such file" in rows[1]["problem"]
    assert err.count("\n") == 1
