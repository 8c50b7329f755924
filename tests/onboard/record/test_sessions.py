"""The sessions of a directory: their order, start and end, whatever the clocks."""

import errno
import json
import os
import stat
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from onboard.files.whole_file import write_whole
from onboard.record import sessions as module
from onboard.record.sessions import (
    CUT_OFF,
    FILE_NAME,
    SessionNote,
    begin_session,
    close_session,
    note_continues,
    read_session,
    sessions,
)
from tests.newest import latest_session

START_US = 1_750_000_000_000_000
SECOND_US = 1_000_000


def test_an_empty_folder_has_no_sessions(tmp_path: Path, caplog) -> None:
    assert sessions(tmp_path / "not there") == []
    assert latest_session(tmp_path) is None
    (tmp_path / "learned.json").write_text("{}")
    (tmp_path / "something else").mkdir()
    assert latest_session(tmp_path) is None
    assert not caplog.text


def test_a_session_says_what_it_continues_and_that_it_was_closed(tmp_path: Path) -> None:
    first = begin_session(tmp_path / "all", START_US)
    assert first.name == "2025-06-15T15-06-40Z"
    close_session(first)
    second = begin_session(tmp_path / "all", START_US + SECOND_US)
    stated = json.loads((second / FILE_NAME).read_text())
    may = {"may_continue": first.name}
    assert stated == {"schema": 1, "number": 2, "continues": None, "closed": False} | may
    note_continues(second, first.name)
    close_session(second)
    stated = json.loads((second / FILE_NAME).read_text())
    assert stated == {"schema": 1, "number": 2, "continues": first.name, "closed": True}
    assert stat.S_IMODE((second / FILE_NAME).stat().st_mode) == 0o600
    assert stat.S_IMODE(second.stat().st_mode) == 0o700
    assert [path.name for path in second.iterdir()] == [FILE_NAME]


@given(st.lists(st.integers(0, 4 * 10**15), min_size=1, max_size=8))
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_sessions_are_in_order_of_their_start_whatever_the_clock(tmp_path_factory, starts) -> None:
    directory = tmp_path_factory.mktemp("sessions")
    begun = [begin_session(directory, start_us) for start_us in starts]
    assert sessions(directory) == begun[::-1]
    assert latest_session(directory) == begun[-1]


def test_twelve_in_one_second_are_in_order_even_without_numbers(tmp_path: Path) -> None:
    begun = [begin_session(tmp_path, START_US) for _ in range(12)]
    assert begun[-1].name.endswith("Z-12")
    for folder in begun:
        (folder / FILE_NAME).unlink()
    assert sessions(tmp_path) == begun[::-1]


def test_older_sessions_without_a_number_come_before_the_first_that_has_one(
    tmp_path: Path, caplog
) -> None:
    old = [tmp_path / f"2024-05-0{day}T10-00-00Z" for day in (1, 2, 3)]
    for folder in old:
        folder.mkdir()
    new = begin_session(tmp_path, 0)  # a board whose clock was never set
    assert new.name == "1970-01-01T00-00-00Z"
    note = read_session(new)
    assert note is not None
    assert note.number == 4
    later = begin_session(tmp_path, SECOND_US)
    assert latest_session(tmp_path) == later
    close_session(old[0])
    assert list(old[0].iterdir()) == []
    assert not caplog.text


def test_an_unclosed_session_is_marked_at_the_next_start(tmp_path: Path) -> None:
    first, second = begin_session(tmp_path, START_US), begin_session(tmp_path, START_US + SECOND_US)
    assert read_session(first) == SessionNote(1, None, True, CUT_OFF)
    before = (first / FILE_NAME).stat().st_mtime_ns
    close_session(second)
    begin_session(tmp_path, START_US + 2 * SECOND_US)
    assert read_session(second) == SessionNote(2, None, True, may_continue=first.name)
    assert (first / FILE_NAME).stat().st_mtime_ns == before


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        '{"schema": 2, "number": 1, "continues": null, "closed": true}',
        '{"schema": 1, "number": "1", "continues": null, "closed": true}',
        '{"schema": 1, "number": true, "continues": null, "closed": true}',
        '{"schema": 1, "number": 1e3, "continues": null, "closed": true}',
        '{"schema": 1, "number": 0, "continues": null, "closed": true}',
        '{"schema": 1, "number": 1, "continues": "../../etc", "closed": true}',
        '{"schema": 1, "number": 1, "continues": null}',
        "[" * 100_000,
        "\x00\ud800",
    ],
)
def test_a_damaged_note_is_reported_once_and_worked_around(
    tmp_path: Path, text: str, caplog
) -> None:
    begun = [begin_session(tmp_path, START_US + n * SECOND_US) for n in range(3)]
    (begun[1] / FILE_NAME).write_bytes(text.encode("utf-8", "surrogatepass"))
    for _ in range(3):
        assert sessions(tmp_path) == begun[::-1]
    close_session(begun[1])
    assert len(caplog.records) == 1
    assert str(begun[1]) in caplog.text
    assert sessions(tmp_path)[0] == begun[2]
    fourth = begin_session(tmp_path, START_US + 3 * SECOND_US)
    assert latest_session(tmp_path) == fourth


@given(st.binary(max_size=200))
@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_bytes_in_the_file_are_fatal(tmp_path_factory, data: bytes) -> None:
    directory = tmp_path_factory.mktemp("sessions")
    folder = begin_session(directory, START_US)
    (folder / FILE_NAME).write_bytes(data)
    assert sessions(directory) == [folder]
    assert latest_session(directory) != begin_session(directory, START_US + SECOND_US)


def fail(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_failed_begin_leaves_nothing(tmp_path: Path, monkeypatch) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", fail)
        with pytest.raises(OSError, match="No space"):
            begin_session(tmp_path, START_US)
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_old_and_takes_no_room(tmp_path: Path, monkeypatch) -> None:
    path = tmp_path / "small.json"
    write_whole(path, "old")
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", fail)
        with pytest.raises(OSError, match="No space"):
            write_whole(path, "new")
    assert [(one.name, one.read_text()) for one in tmp_path.iterdir()] == [("small.json", "old")]


def test_a_session_that_cannot_be_closed_is_only_reported(
    tmp_path: Path, monkeypatch, caplog
) -> None:
    folder = begin_session(tmp_path, START_US)
    with monkeypatch.context() as patch:
        patch.setattr(module, "write_session", fail)
        close_session(folder)
        close_session(folder)
    assert len(caplog.records) == 1
    assert read_session(folder) == SessionNote(1)
