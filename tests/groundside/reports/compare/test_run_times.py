"""When a run was: seconds in its log, and the time of day."""

import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from groundside.reports.compare.run_times import RunTimes
from groundside.reports.compare.trial_log import TrialLog
from tests.onboard.efficiency.trial.made_legs import made_leg, made_seconds

NOON_S = 1_750_000_000.0  # 2025-06-15 15:06:40 UTC


def log(name: str, begins_s: float | None, zero_s: float = 0.0) -> TrialLog:
    return TrialLog(Path(name), begins_s, zero_s, made_seconds(np.full(600, 2.0), 0.0), [])


def leg_of(log_name: str, start_s: float, outing: int = 0):
    return replace(made_leg(start_s=start_s), place=log_name, outing=outing)


def test_seconds_count_from_the_log_s_first_stamp() -> None:
    # Stream time begins 5 s into the log; the leg 100 s into stream time.
    times = RunTimes([log("day.tlog", NOON_S, 5.0)])
    when = times.of(leg_of("day.tlog", NOON_S + 5.0 + 100.0))
    assert (when.log, when.from_s) == ("day.tlog", pytest.approx(105.0))
    assert when.utc == datetime.datetime(2025, 6, 15, 15, 8, 25, tzinfo=datetime.UTC)
    assert times.text(when) == "from 105 s, 15:08 UTC"
    assert times.text(times.at("day.tlog", 105.0)) == "from 105 s, 15:08 UTC"


def test_logs_of_one_name_are_told_apart_by_time_and_several_are_named() -> None:
    times = RunTimes([log("a/x.tlog", NOON_S), log("b/x.tlog", NOON_S + 3600.0)])
    when = times.of(leg_of("x.tlog", NOON_S + 3600.0 + 50.0))
    assert when.from_s == pytest.approx(50.0)
    assert times.text(when) == "x.tlog from 50 s, 16:07 UTC"


def test_without_a_clock_there_is_no_time_of_day() -> None:
    times = RunTimes([log("one.tlog", None), log("two.tlog", None)])
    # Logs follow each other with a minute between; each lasts 600 s.
    first = times.of(leg_of("one.tlog", 30.0 + 60.0))
    assert times.text(first) == "one.tlog from 30 s"
    second = times.of(leg_of("two.tlog", 60.0 + 600.0 + 60.0 + 30.0))
    assert times.text(second) == "two.tlog from 30 s"


def test_an_unheard_of_log_has_its_own_seconds() -> None:
    when = RunTimes([]).of(leg_of("gone.tlog", 12.0))
    assert (when.log, when.from_s, when.utc) == ("gone.tlog", 12.0, None)
    assert RunTimes([]).at("gone.tlog", 3.0).utc is None


def test_a_clock_beyond_any_calendar_is_none() -> None:
    assert RunTimes([log("day.tlog", 1e18)]).at("day.tlog", 1.0).utc is None
