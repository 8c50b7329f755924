"""Sessions of a run: each one's trip, its marks, and what was learned are written."""

import errno
import os
from pathlib import Path

import pytest

from onboard.contract.commands import Mark
from onboard.record.marks import TimedCommand, read_marks
from onboard.record.sessions import SessionNote, read_session
from onboard.restarts.refold import load_carried
from onboard.restarts.session_book import SessionBook
from onboard.ride.learned_file import Clocks, load
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames
from tests.patience import until
from tests.small_streams import Sender, records

START_US = 1_750_000_000_000_000


def attitudes(directory: Path, *boot_s: float) -> Frames:
    """Return frames of an autopilot that states these boot clocks."""
    sender, log = Sender(), directory / "x.tlog"
    log.write_bytes(records([sender.heartbeat(), *map(sender.attitude, boot_s)], START_US))
    (frames,) = [one for one in read_log(log) if len(one)]
    return frames


def session(directory: Path, frames: Frames, number: int) -> SessionBook:
    """Return a session with these frames in its record, whose trip is undecided."""
    book = SessionBook(directory, START_US + number * 10**9, None)
    book.saved_state = {"of": number}
    book.write(frames, START_US + number * 10**9)
    return book


def note(folder: Path) -> SessionNote:
    found = read_session(folder)
    assert found is not None
    return found


@pytest.mark.parametrize("goes_on", [True, False])
def test_the_decision_is_written_at_the_end_at_the_latest(tmp_path: Path, goes_on: bool) -> None:
    for number in (1, 2):
        session(tmp_path, attitudes(tmp_path, 100.0 * number), number).close({"of": number})
    book = SessionBook(tmp_path, START_US + 3 * 10**9, None)
    book.settle(book.past.result().judge(Clocks(300.0 if goes_on else 5.0, 1.75e9, float("nan"))))
    book.close({"of": 3})
    third, second, first = sorted(
        (one for one in tmp_path.iterdir() if one.is_dir()), key=lambda one: -note(one).number
    )
    assert note(first) == SessionNote(1, None, True)
    assert note(second) == SessionNote(2, first.name, True)
    assert note(third) == SessionNote(3, second.name if goes_on else None, True)
    # The state at the trip's start: nothing for the first, the first's result for the next.
    assert load_carried(first) is None
    assert load_carried(second) is None
    carried = load_carried(third)
    assert (carried and carried["of"]) == (None if goes_on else 2)


def test_a_new_trip_settles_the_undecided_ones_before_it(tmp_path: Path) -> None:
    session(tmp_path, attitudes(tmp_path, 100.0), 1).close({})
    book = session(tmp_path, attitudes(tmp_path, 103.0), 2)
    first = book.past.result().newest
    second = book.folder
    assert note(second).may_continue == first.name
    book.begin_new_trip(START_US + 3 * 10**9, {})
    third = book.folder
    book.close({})
    assert note(second) == SessionNote(2, first.name, True)
    assert note(third) == SessionNote(3, None, True)


def at(directory: Path) -> dict:
    """Return the place in the records up to which the state is saved."""
    kept = load(directory)
    assert kept is not None
    found: dict = kept["at"]
    return found


def test_a_save_says_which_marks_are_in_it(tmp_path: Path) -> None:
    book = SessionBook(tmp_path, START_US, None)
    one = TimedCommand(None, START_US, None, Mark(1, "charged", amount=("left_fraction", 0.5)))
    kept = {"of": 1, "at": {"stamp_us": 7}}
    book.mark(one)
    assert book.save_if_due(100.0, lambda: kept)
    until((tmp_path / "learned.json").exists)
    first = book.folder.name
    assert at(tmp_path) == {"stamp_us": 7, "session": first, "marks": 1}
    # Few writes spare the card.
    assert not book.save_if_due(100.1, lambda: kept)
    book.mark(one)
    book.begin_new_trip(START_US + 10**9, kept)
    second = book.folder.name
    book.mark(one)
    book.close(kept)
    assert second != first
    assert at(tmp_path) == {"stamp_us": 7, "session": second, "marks": 1}
    assert [len(read_marks(tmp_path / name)) for name in (first, second)] == [2, 1]


def test_what_was_learned_carries_over_to_a_new_trip_and_survives_a_restart(
    tmp_path: Path,
) -> None:
    book = SessionBook(tmp_path, START_US, None)
    book.begin_new_trip(START_US + 10**9, {"of": 1})
    assert load_carried(book.folder) == {"of": 1}
    assert note(book.folder) == SessionNote(2)
    book.close(None)
    assert load(tmp_path) == {"schema": 1, "of": 1, "at": {"session": book.folder.name, "marks": 0}}


def test_marks_are_in_the_session_that_a_full_card_delayed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        book = SessionBook(tmp_path, START_US, None)
    before = book.folder
    before.mkdir()  # somebody else took the name meanwhile
    later_us = START_US + 10 * 10**6
    book.write(attitudes(tmp_path, 100.0), later_us)
    assert book.flush()
    assert book.folder != before
    book.mark(TimedCommand(None, later_us, None, Mark(1, "charged_full")))
    book.close(None)
    assert len(read_marks(book.folder)) == 1
    assert read_marks(before) == ()
