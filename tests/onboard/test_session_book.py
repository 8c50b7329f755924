"""A session's trip is written down whichever way the session ends."""

from pathlib import Path

import pytest

from onboard.kept import Clocks
from onboard.rejoin import load_carried
from onboard.session_book import SessionBook
from onboard.sessions import SessionNote, read_session
from onboard.telemetry.frames import Frames
from onboard.telemetry.telemetry_log import read_log
from tests.small_streams import Sender, records

START_US = 1_750_000_000_000_000


def heard(directory: Path, *boot_s: float) -> Frames:
    """Frames of an autopilot that had been running for so long."""
    sender, log = Sender(), directory / "x.tlog"
    log.write_bytes(records([sender.heartbeat(), *map(sender.attitude, boot_s)], START_US))
    (frames,) = [one for one in read_log(log) if len(one)]
    return frames


def session(directory: Path, frames: Frames, number: int) -> SessionBook:
    """A session in which these frames came; nothing is decided yet."""
    book = SessionBook(directory, START_US + number * 10**9, None)
    book.kept = {"of": number}
    book.write(frames, START_US + number * 10**9)
    return book


def note(folder: Path) -> SessionNote:
    found = read_session(folder)
    assert found is not None
    return found


@pytest.mark.parametrize("goes_on", [True, False])
def test_the_verdict_is_written_down_at_the_end_at_the_latest(
    tmp_path: Path, goes_on: bool
) -> None:
    for number in (1, 2):
        session(tmp_path, heard(tmp_path, 100.0 * number), number).close({"of": number})
    book = SessionBook(tmp_path, START_US + 3 * 10**9, None)
    book.settle(book.past.result().judge(Clocks(300.0 if goes_on else 5.0, 1.75e9, float("nan"))))
    book.close({"of": 3})
    third, second, first = sorted(
        (one for one in tmp_path.iterdir() if one.is_dir()), key=lambda one: -note(one).number
    )
    assert note(first) == SessionNote(1, None, True)
    assert note(second) == SessionNote(2, first.name, True)
    assert note(third) == SessionNote(3, second.name if goes_on else None, True)
    # What the trip began with: nothing for the first, what the first left for a trip after it.
    assert load_carried(first) is None
    assert load_carried(second) is None
    carried = load_carried(third)
    assert (carried and carried["of"]) == (None if goes_on else 2)


def test_a_new_trip_settles_what_the_one_before_it_left_undecided(tmp_path: Path) -> None:
    session(tmp_path, heard(tmp_path, 100.0), 1).close({})
    book = session(tmp_path, heard(tmp_path, 103.0), 2)
    first = book.past.result().newest
    second = book.folder
    assert note(second).may_continue == first.name
    book.begin_anew(START_US + 3 * 10**9, {})
    third = book.folder
    book.close({})
    assert note(second) == SessionNote(2, first.name, True)
    assert note(third) == SessionNote(3, None, True)
