"""A start reads the newest sessions only, and is right even if the pointer to them is wrong."""

import json
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from onboard.record import sessions as module
from onboard.record.newest_session import FILE_NAME
from onboard.record.sessions import (
    CUT_OFF,
    SessionNote,
    begin_session,
    last_session,
    read_session,
    session_name,
    sessions,
    write_session,
)
from onboard.restarts.session_book import SessionBook
from onboard.telemetry.logs.log_files import RECORD_NAME
from tests.newest import latest_session
from tests.small_streams import Sender, records

START_US = 1_750_000_000_000_000
SECOND_US = 1_000_000

_watchers: list[list[str]] = []
"""Lists to which an audit hook, which cannot be removed, appends every path opened."""


def _watch(event: str, args: tuple[Any, ...]) -> None:
    if event == "open" and isinstance(args[0], str):
        for opened in _watchers:
            opened.append(args[0])


sys.addaudithook(_watch)


def past(directory: Path, count: int, *, closed: bool) -> list[Path]:
    """Make sessions of earlier days, without a pointer."""
    sender = Sender()
    record = records([sender.heartbeat(), sender.attitude(100.0)])
    folders = []
    for n in range(count):
        folder = directory / session_name(START_US + n * SECOND_US)
        folder.mkdir(parents=True)
        text = json.dumps(SessionNote(n + 1, closed=closed).as_dict())
        (folder / "session.json").write_text(text)
        (folder / RECORD_NAME).write_bytes(record)
        folders.append(folder)
    return folders


def opened_at_a_start(directory: Path, start_us: int) -> set[str]:
    """Return the earlier sessions read by a daemon's start."""
    before = {one.name for one in directory.iterdir() if one.is_dir()}
    opened: list[str] = []
    _watchers.append(opened)
    try:
        book = SessionBook(directory, start_us, None)
        book.past.result()
        book.close({})
    finally:
        _watchers.clear()
    return before & {part for path in opened for part in Path(path).parts}


@pytest.mark.parametrize("closed", [True, False])
def test_the_look_back_opens_no_more_for_a_long_past(tmp_path: Path, closed: bool) -> None:
    found = {}
    for count in (5, 100):
        directory = tmp_path / str(count)
        folders = past(directory, count, closed=closed)
        # The first start of this release finds no pointer, and makes one.
        assert len(opened_at_a_start(directory, START_US + 10**9)) == count
        found[count] = opened_at_a_start(directory, START_US + 2 * 10**9)
        assert folders[0].name not in found[count]
    # The newest one, without a record, and the one before it.
    assert len(found[5]) == len(found[100]) == 2


def test_only_the_one_before_is_marked_as_cut_off(tmp_path: Path) -> None:
    folders = past(tmp_path, 4, closed=False)
    begin_session(tmp_path, START_US + 10**9)
    assert [note.closed for one in folders if (note := read_session(one))] == [False] * 3 + [True]


def numbers(directory: Path) -> list[int]:
    return [note.number for one in sessions(directory) if (note := read_session(one))]


def test_a_session_with_a_greater_number_is_copied_in(tmp_path: Path) -> None:
    ours = [begin_session(tmp_path, START_US + n * SECOND_US) for n in range(3)]
    other = past(tmp_path / "card", 1, closed=True)[0]
    write_session(other, SessionNote(9000, closed=True))
    shutil.move(other, tmp_path / "2031-01-01T00-00-00Z")
    later = begin_session(tmp_path, START_US + 10 * SECOND_US)
    note = read_session(later)
    assert note is not None
    assert note.number == 9001
    # Another one ran here last: its trip may go on.
    assert note.may_continue == ours[-1].name
    assert latest_session(tmp_path) == later


def test_the_whole_of_another_card_is_copied_in_pointer_included(tmp_path: Path) -> None:
    for n in range(2):
        begin_session(tmp_path / "a", START_US + n * SECOND_US)
    for n in range(5):
        begin_session(tmp_path / "b", START_US + (100 + n) * SECOND_US)
    shutil.copytree(tmp_path / "a", tmp_path / "b", dirs_exist_ok=True)
    later = begin_session(tmp_path / "b", START_US + 200 * SECOND_US)
    assert numbers(tmp_path / "b")[0] == 8
    assert latest_session(tmp_path / "b") == later


def test_sessions_are_removed(tmp_path: Path) -> None:
    begun = [begin_session(tmp_path, START_US + n * SECOND_US) for n in range(4)]
    shutil.rmtree(begun[0])
    assert last_session(tmp_path) == (4, begun[3])
    shutil.rmtree(begun[3])
    assert last_session(tmp_path) == (3, begun[2])
    begin_session(tmp_path, START_US + 9 * SECOND_US)
    assert numbers(tmp_path) == [4, 3, 2]


def test_killed_between_the_pointer_and_the_folder(tmp_path: Path, monkeypatch) -> None:
    first = begin_session(tmp_path, START_US)
    for _ in range(2):
        with monkeypatch.context() as patch:
            patch.setattr(Path, "rename", _killed)
            with pytest.raises(KeyboardInterrupt):
                begin_session(tmp_path, START_US + SECOND_US)
    # The incomplete folder is not a session, and is removed.
    assert (tmp_path / module.NEW_FOLDER).exists()
    assert sessions(tmp_path) == [first]
    second = begin_session(tmp_path, START_US + 2 * SECOND_US)
    note = read_session(second)
    assert note is not None
    assert note.number > 1
    assert note.may_continue == first.name
    assert not (tmp_path / module.NEW_FOLDER).exists()


def _killed(*_: object) -> None:
    raise KeyboardInterrupt


@pytest.mark.parametrize("left", [None, b"", b"\x00" * 90])
def test_a_newest_session_without_its_note_is_still_part_of_the_trip(
    tmp_path: Path, left: bytes | None
) -> None:
    first, second = (begin_session(tmp_path, START_US + n * SECOND_US) for n in range(2))
    (second / "session.json").unlink()
    if left is not None:
        (second / "session.json").write_bytes(left)
    third = begin_session(tmp_path, START_US + 2 * SECOND_US)
    assert read_session(second) == SessionNote(2, None, True, CUT_OFF, first.name)
    assert read_session(third) == SessionNote(3, None, False, None, second.name)


def test_a_new_trip_without_its_note_stays_one(tmp_path: Path) -> None:
    begin_session(tmp_path, START_US)
    second = begin_session(tmp_path, START_US + SECOND_US, anew=True)
    (second / "session.json").unlink()
    begin_session(tmp_path, START_US + 2 * SECOND_US)
    assert read_session(second) == SessionNote(2, None, True, CUT_OFF)


FIELD = st.none() | st.booleans() | st.integers() | st.text(max_size=9)


@given(
    st.binary(max_size=99)
    | st.fixed_dictionaries(
        dict.fromkeys(("number", "name", "before", "anew", "others"), FIELD)
    ).map(lambda one: json.dumps(one | {"schema": 1}).encode())
)
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_pointer_is_fatal_or_counts_backwards(tmp_path_factory, data: bytes) -> None:
    directory = tmp_path_factory.mktemp("sessions")
    begun = [begin_session(directory, START_US + n * SECOND_US) for n in range(2)]
    (directory / FILE_NAME).write_bytes(data)
    later = begin_session(directory, START_US + 9 * SECOND_US)
    assert sessions(directory) == [later, *begun[::-1]]


def test_if_no_pointer_can_be_written_all_sessions_are_read(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).mkdir()
    begun = [begin_session(tmp_path, START_US + n * SECOND_US) for n in range(3)]
    assert sessions(tmp_path) == begun[::-1]
    assert numbers(tmp_path) == [3, 2, 1]
