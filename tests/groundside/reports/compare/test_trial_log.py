"""Logs read for a trial."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from groundside.reports.compare.run_sheet import RunEntry
from groundside.reports.compare.trial_log import TrialLog, read_all, read_trial_log, spans_of
from onboard.efficiency.trial.runs import RunSpan, SpanKind
from onboard.errors import LogError, UsageError
from onboard.profile import Profile
from onboard.record.sessions import SessionNote
from tests.craft.trial_day import Day
from tests.groundside.reports.compare.trial_days import (
    START_UNIX_S,
    TWO,
    day_made,
    run_marks,
    runs_of,
    setup_mark,
    write_log,
    write_session,
)
from tests.onboard.efficiency.trial.made_legs import made_seconds

SHORT = Day(TWO, ("broad",))


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("day") / "day.tlog"
    write_log(path, day_made(SHORT, 1))
    return path


def test_start_and_duration(log: Path) -> None:
    found = read_trial_log(log, Profile())
    assert found.lasts_s == pytest.approx(2 * 124.0, abs=1.5)
    assert found.begins_s == pytest.approx(START_UNIX_S, abs=0.1)
    assert abs(found.zero_s) < 1.5
    assert len(found.steady) >= 4


def test_a_clock_that_was_never_set_gives_no_start(tmp_path: Path) -> None:
    write_log(tmp_path / "day.tlog", day_made(SHORT, 1), 1000.0)
    assert read_trial_log(tmp_path / "day.tlog", Profile()).begins_s is None


def test_progress_reaches_the_size(log: Path) -> None:
    reported: list[int] = []
    read_trial_log(log, Profile(), progress=reported.append)
    assert reported[-1] == log.stat().st_size
    assert reported == sorted(reported)


def test_an_absent_system_is_refused(log: Path) -> None:
    with pytest.raises(LogError, match="no autopilot of the system asked for"):
        read_trial_log(log, Profile(), 77)


def made_log(path: Path, zero_s: float = 0.0, seed: int = 1) -> TrialLog:
    east = 2.0 + 0.1 * np.random.default_rng(seed).standard_normal(60)
    return TrialLog(path, START_UNIX_S, zero_s, made_seconds(east), [])


def test_times_count_from_the_log_s_first_stamp() -> None:
    entry = RunEntry("a", Path("x.tlog"), 100.0, 200.0)
    assert spans_of(entry, made_log(entry.log, 2.5)) == [RunSpan("a", 97.5, 197.5, True)]


def test_the_sheet_says_what_to_look_for() -> None:
    timed = RunEntry("a", Path("day.tlog"), 100.0, 200.0, SpanKind.LAPS)
    assert spans_of(timed, made_log(timed.log)) == [RunSpan("a", 100.0, 200.0, True, SpanKind.LAPS)]
    whole = RunEntry("a", Path("day.tlog"), kind=SpanKind.THERE_AND_BACK)
    (found,) = spans_of(whole, made_log(whole.log))
    assert (found.setup, found.kind) == ("a", SpanKind.THERE_AND_BACK)


def test_spans_of_a_session_with_marks(tmp_path: Path) -> None:
    made = day_made(SHORT, 1)
    runs = runs_of(made)
    marks = [setup_mark(1.0, "b"), *run_marks(runs[0]), *run_marks(runs[1])]
    write_session(tmp_path / "runs", made, marks)
    write_session(tmp_path / "labels", made, marks[:1])
    by_marks = [RunSpan("b", one.start_s, one.end_s, True) for one in runs]
    for setup in (None, "a"):
        entry = RunEntry(setup, tmp_path / "runs")
        assert spans_of(entry, made_log(entry.log)) == [
            replace(one, setup=setup or "b") for one in by_marks
        ]
    entry = RunEntry(None, tmp_path / "labels")
    assert [(one.setup, one.start_s, one.marked) for one in spans_of(entry, made_log(entry.log))][
        1:
    ] == [("b", 1.0, False)]
    alone = RunEntry("a", tmp_path / "x.tlog")
    assert spans_of(alone, made_log(alone.log)) == [RunSpan("a", -math.inf, math.inf, False)]


def test_spans_of_a_session_that_continues_a_trip(tmp_path: Path) -> None:
    made = day_made(SHORT, 1)
    before, after = "2025-06-15T15-06-40Z", "2025-06-15T15-20-00Z"
    write_session(tmp_path / before, made, [setup_mark(1.0, "b")])
    runs = runs_of(made)
    write_session(tmp_path / after, made, [m for one in runs for m in run_marks(one)], trip_s=900.0)
    for number, (name, continues) in enumerate([(before, None), (after, before)]):
        (tmp_path / name / "session.json").write_text(
            json.dumps(SessionNote(number, continues, True).as_dict())
        )
    for path in (tmp_path / after, tmp_path / after / "telemetry.tlog"):
        # Neither the set-up nor the trip's time begins anew with the session.
        found = spans_of(RunEntry(None, path), read_trial_log(path, Profile()))
        assert [one.setup for one in found] == ["b", "b"]
        assert [one.start_s for one in found] == pytest.approx([r.start_s for r in runs], abs=0.1)
        assert [one.end_s for one in found] == pytest.approx([r.end_s for r in runs], abs=0.1)
    (tmp_path / after / "marks.jsonl").unlink()
    (whole,) = spans_of(
        RunEntry(None, tmp_path / after), read_trial_log(tmp_path / after, Profile())
    )
    assert whole.setup == "b"


def test_the_last_trial_says_which_set_ups_of_a_day_count(tmp_path: Path) -> None:
    made = day_made(SHORT, 1)
    for name, setups in (("one", "abc"), ("two", "ab")):
        plan = {"setups": list(setups), "kind": "laps"}
        marks = [{"at_s": 1.0, "kind": "set", "key": "trial", "value": plan}]
        marks += [setup_mark(10.0 * n + 5.0, label) for n, label in enumerate("abc")]
        write_session(tmp_path / name, made, marks)
    begins = {"one": 0.0, "two": 3600.0}

    def reading(path: Path) -> TrialLog:
        one = made_log(path, seed=len(path.name) + int(path.name == "two"))
        return replace(one, begins_s=START_UNIX_S + begins[path.name])

    # In the order of time, whatever the order given.
    for names in (("one", "two"), ("two", "one")):
        found = read_all([RunEntry(None, tmp_path / name) for name in names], reading)
        for _, spans in found:
            assert [one.setup for one in spans] == ["a", "b"]
            assert {one.kind for one in spans} == {SpanKind.LAPS}


def test_each_log_is_read_once() -> None:
    read: list[Path] = []

    def reading(path: Path) -> TrialLog:
        read.append(path)
        return made_log(path, seed=len(read))

    entries = [RunEntry("b", Path("x.tlog"), 100.0, 200.0), RunEntry("a", Path("y.tlog")),
               RunEntry("a", Path("./x.tlog"), 0.0, 50.0)]  # fmt: skip
    (x, spans), (y, _) = read_all(entries, reading)
    assert read == [Path("x.tlog"), Path("y.tlog")] == [x.path, y.path]
    assert [(one.setup, one.start_s) for one in spans] == [("a", 0.0), ("b", 100.0)]


def test_a_copy_of_a_log_is_refused() -> None:
    entries = [RunEntry("a", Path("x.tlog")), RunEntry("b", Path("y.tlog"))]
    with pytest.raises(UsageError, match=r"y\.tlog: the same ride as x\.tlog"):
        read_all(entries, made_log)
