"""A record read as it grows has the seconds of the whole one."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from onboard.coach.session_reading import SessionReading
from onboard.efficiency.trial.seconds import LogSeconds, Seconds
from onboard.profile import Profile
from onboard.telemetry.logs.formats import blocks_of, open_log
from onboard.telemetry.messages.decoder import Decoder
from tests.onboard.coach.made_day import START_UNIX_S, made_day

PROFILE = Profile()


def whole(folder: Path) -> Seconds:
    """Return the seconds as `compare` reads them."""
    gathering = LogSeconds(PROFILE)
    for block in blocks_of(open_log(folder), Decoder(None)):
        gathering.fold(block)
    return gathering.seconds()


def assert_equal(some: Seconds, all_of_them: Seconds, least: int) -> None:
    """Check that some seconds are the first of all, to the last bit."""
    assert len(some) >= least
    for field in dataclasses.fields(Seconds):
        one, other = getattr(some, field.name), getattr(all_of_them, field.name)
        np.testing.assert_array_equal(one, other[: len(one)], err_msg=field.name)


def test_the_seconds_do_not_depend_on_when_it_was_read(tmp_path: Path) -> None:
    day = made_day()
    reading = SessionReading(tmp_path / "s", PROFILE)
    reading.advance()  # nothing there yet
    assert reading.zero_stamp_s is None
    assert len(reading.seconds()) == 0
    all_of_them = whole(day.put(tmp_path / "whole"))
    for until_s in (30.0, 31.3, 200.0, 1e9):
        day.put(tmp_path / "s", until_s)
        reading.advance()
        last_s = min(until_s, day.frames[-1].time_s)
        assert_equal(reading.seconds(), all_of_them, int(last_s) - 6)
    assert reading.zero_stamp_s == pytest.approx(START_UNIX_S, abs=0.1)


def test_it_stops_at_a_stamp_and_goes_on(tmp_path: Path) -> None:
    day = made_day()
    folder = day.put(tmp_path / "s")
    reading, all_of_them = SessionReading(folder, PROFILE), whole(folder)
    for until_s in (100.0, 101.0, 300.0):
        reading.advance(round((START_UNIX_S + until_s) * 1e6))
        seconds = reading.seconds()
        assert float(seconds.t_s[-1]) <= until_s
        assert_equal(seconds, all_of_them, int(until_s) - 6)
        marks = reading.marks(round((START_UNIX_S + until_s) * 1e6))
        assert len(marks) == sum(t_s <= until_s for t_s, _ in day.commands)


def test_a_record_that_was_cut_is_read_anew(tmp_path: Path) -> None:
    day = made_day()
    reading = SessionReading(day.put(tmp_path / "s", 300.0), PROFILE)
    reading.advance()
    day.put(tmp_path / "s", 200.0)
    reading.advance()
    assert float(reading.seconds().t_s[-1]) <= 200.0


def test_a_continuation_in_another_file_is_read_on(tmp_path: Path) -> None:
    """The recorder goes on in `telemetry-2.tlog` if the file was damaged."""
    day = made_day()
    folder = day.put(tmp_path / "s", 200.0)
    reading = SessionReading(folder, PROFILE)
    reading.advance()
    before = (folder / "telemetry.tlog").read_bytes()
    day.put(folder)
    after = (folder / "telemetry.tlog").read_bytes()
    (folder / "telemetry.tlog").write_bytes(before)
    (folder / "telemetry-2.tlog").write_bytes(after[len(before) :])
    reading.advance()
    assert_equal(reading.seconds(), whole(folder), 500)
