"""Which sessions form a trip: settled by the autopilot's clocks, whatever was undecided."""

import json
from pathlib import Path

from onboard.contract.commands import Set
from onboard.record.marks import FILE_NAME as MARKS_NAME
from onboard.record.marks import MarkBook, TimedCommand
from onboard.record.sessions import (
    FILE_NAME,
    SessionNote,
    note_continues,
    read_session,
)
from onboard.restarts.refold import load_carried
from onboard.restarts.trip_sessions import earlier_of_trip, look_back, write_all_settled
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.onboard.restarts.begun_sessions import START_US, begin, now
from tests.small_streams import Sender, records


def mark(folder: Path) -> None:
    MarkBook(folder).write(TimedCommand(None, START_US, None, Set(1, "target_distance_m", 9e3)))


def trip(newest: Path, boot_s: float) -> list[str]:
    """Return the earlier sessions of the present trip, after settling undecided ones."""
    verdict = look_back(newest).judge(now(boot_s))
    write_all_settled(verdict.settled)
    return [one.folder.name for one in verdict.sessions]


def test_any_number_of_undecided_sessions_belong_to_a_trip_that_goes_on(tmp_path: Path) -> None:
    all_of_it = [begin(tmp_path, 100 + 10.0 * n, 101 + 10.0 * n) for n in range(12)]
    names = [one.name for one in all_of_it]
    assert trip(all_of_it[-1], 300.0) == names
    notes = [read_session(one) for one in all_of_it]
    assert [note and note.continues for note in notes] == [None, *names[:-1]]
    assert not any(note.may_continue for note in notes if note)
    assert [load_carried(one) for one in all_of_it] == [{"of": 0}] * 12
    # Settled: another start has the same result.
    assert trip(all_of_it[-1], 300.0) == names


def test_an_autopilot_restarted_between_two_sessions(tmp_path: Path) -> None:
    times = [(100, 110), (112, 113), (5, 9), (20, 21), (30, 31)]
    a, b, c, d, e = (begin(tmp_path, *one) for one in times)
    assert trip(e, 40.0) == [c.name, d.name, e.name]
    assert read_session(b) == SessionNote(2, a.name, True, "ended without being closed")
    assert read_session(c) == SessionNote(3, None, True, "ended without being closed")
    assert [load_carried(one) for one in (b, c, e)] == [{"of": 0}, {"of": 2}, {"of": 2}]
    assert list(earlier_of_trip(e, read_session(e))) == [d, c]


def test_an_autopilot_restarted_now_begins_another_trip_and_settles_the_others(
    tmp_path: Path,
) -> None:
    a, b = begin(tmp_path, 100, 110), begin(tmp_path, 112, 113)
    assert trip(b, 4.0) == []
    note = read_session(b)
    assert note is not None
    assert note.continues == a.name


def test_a_new_trip_is_settled_at_once(tmp_path: Path) -> None:
    begin(tmp_path, 100, 110)
    new = begin(tmp_path, anew=True)
    assert read_session(new) == SessionNote(2)
    later = begin(tmp_path, 113, 114)
    assert trip(later, 120.0) == [new.name, later.name]


def test_sessions_without_an_autopilot_are_skipped(tmp_path: Path) -> None:
    ridden = begin(tmp_path, 100, 110)
    blank = [begin(tmp_path) for _ in range(3)]
    past = look_back(blank[-1])
    assert past.newest == ridden
    assert [one.folder for one in past.judge(now(120.0)).sessions] == [ridden]


def test_a_mark_while_the_craft_is_silent_belongs_to_what_comes_after(tmp_path: Path) -> None:
    ridden = begin(tmp_path, 100, 110)
    marked, blank = begin(tmp_path), begin(tmp_path)
    mark(marked)
    assert trip(blank, 120.0) == [ridden.name, marked.name]
    # If the autopilot was restarted meanwhile, to the new trip.
    first = look_back(blank).judge(now(120.0)).sessions[1]
    assert len(first.actions) == 1
    (marked / FILE_NAME).write_text(
        json.dumps(SessionNote(2, None, True, None, ridden.name).as_dict())
    )
    assert trip(blank, 5.0) == [marked.name]


def test_a_record_without_an_autopilot_breaks_nothing(tmp_path: Path) -> None:
    ridden, other = begin(tmp_path, 100, 110), begin(tmp_path)
    (other / RECORD_NAME).write_bytes(records([Sender(9, 190).heartbeat(6, 8)] * 5))
    assert trip(other, 120.0) == [ridden.name, other.name]


def test_an_earlier_session_that_is_gone_ends_the_trip_there(tmp_path: Path) -> None:
    a, b, c = (begin(tmp_path, 100.0 + n) for n in range(3))
    for path in (*a.iterdir(),):
        path.unlink()
    a.rmdir()
    assert trip(c, 120.0) == [b.name, c.name]
    note = read_session(b)
    assert note is not None
    assert (note.continues, note.may_continue) == (None, None)


def test_notes_that_form_a_cycle_terminate(tmp_path: Path) -> None:
    a, b, c = (begin(tmp_path, 100.0 + n) for n in range(3))
    note_continues(a, c.name)
    note_continues(b, a.name)
    assert trip(c, 120.0) == [a.name, b.name, c.name]
    assert list(earlier_of_trip(c, read_session(c))) == [b, a]


def test_a_decision_that_the_card_refuses_stays_open(tmp_path: Path, monkeypatch, caplog) -> None:
    _, b = begin(tmp_path, 100), begin(tmp_path, 101)
    before = (b / FILE_NAME).read_text()
    verdict = look_back(b).judge(now(120.0))
    with monkeypatch.context() as patch:
        patch.setattr("onboard.files.whole_file.os.fsync", _fail)
        write_all_settled(verdict.settled)
    assert (b / FILE_NAME).read_text() == before
    assert "could not be noted" in caplog.text


def _fail(_: int) -> None:
    raise OSError(28, "No space left on device")


def test_a_session_with_marks_is_not_blank(tmp_path: Path) -> None:
    begin(tmp_path, 100)
    torn = begin(tmp_path)
    (torn / MARKS_NAME).write_text('{"t_s": nu')
    assert look_back(torn).newest != torn
    mark(torn)
    assert look_back(torn).newest == torn
