"""Marks: whole lines beside the record, which give the same figures when applied again."""

import errno
import json
import logging
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from onboard.contract.commands import Command, Mark, Refused, Set
from onboard.profile import Profile, load_profile
from onboard.record.marks import FILE_NAME, MarkBook, TimedCommand, read_marks, timed_command
from onboard.restarts.refold import replay
from onboard.ride.commands import apply_command, with_place
from onboard.ride.ride import Ride
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames
from tests.wire import wire, words

LOGS = Path(__file__).parents[3] / "replay_logs"
PROFILE = load_profile(LOGS / "harbour_loop.toml")

COMMANDS: list[Command] = [
    Set(1, "target_distance_m", 12000.0),
    Set(2, "target_speed_mps", None),
    Set(3, "home", (45.0, -30.25)),
    Set(4, "setup", "hélice 12×9"),
    Mark(5, "note", "weed 🌿"),
    Mark(6, "charged_full"),
    Mark(7, "charged", amount=("charged_wh", 250.0)),
    Mark(8, "unplugged", source="battery 1"),
]
WRITTEN = [
    TimedCommand(10.5 * n, 1_750_000_000_000_000 + n, None, one) for n, one in enumerate(COMMANDS)
]


def write_all(folder: Path) -> Path:
    book = MarkBook(folder)
    for one in WRITTEN:
        book.write(one)
    assert book.problem is None
    return folder / FILE_NAME


def no_new_trip() -> str | None:
    raise AssertionError


def test_written_marks_are_read_back(tmp_path: Path) -> None:
    path = write_all(tmp_path)
    assert list(read_marks(tmp_path)) == WRITTEN
    first = json.loads(path.read_text(encoding="utf-8").splitlines()[0])
    assert first == {"t_s": 0.0, "stamp_us": 1_750_000_000_000_000, "utc": None, "kind": "set",
                     "id": 1, "key": "target_distance_m", "value": 12000.0}  # fmt: skip
    assert path.stat().st_mode & 0o777 == 0o600


def test_without_a_file_there_are_no_marks(tmp_path: Path) -> None:
    assert read_marks(tmp_path) == ()


def test_cut_at_any_byte_whole_lines_are_read_and_the_next_one_is_appended(tmp_path: Path) -> None:
    path = write_all(tmp_path)
    data = path.read_bytes()
    for length in range(len(data)):
        path.write_bytes(data[:length])
        whole = data[:length].count(b"\n")
        found = read_marks(tmp_path)
        assert list(found[:whole]) == WRITTEN[:whole]
        assert len(found) <= whole + (data[length : length + 1] == b"\n")
        if length % 7 == 0:
            MarkBook(tmp_path).write(WRITTEN[-1])
            assert read_marks(tmp_path) == (*found, WRITTEN[-1])


@pytest.mark.parametrize(
    "spoilt",
    [
        b"{}", b"[]", b"null", b"nonsense", b"\xff\xff", b"[" * 5000,
        b'{"t_s":1,"stamp_us":2,"utc":null,"kind":"mark","id":1,"mark":"arm"}',
        b'{"t_s":1,"stamp_us":2,"utc":null,"kind":"mark","id":1,"mark":"run_end","x":1}',
        b'{"t_s":1,"stamp_us":2.5,"utc":null,"kind":"mark","id":1,"mark":"run_end"}',
        b'{"t_s":1,"stamp_us":-2,"utc":null,"kind":"mark","id":1,"mark":"run_end"}',
        b'{"t_s":NaN,"stamp_us":2,"utc":null,"kind":"mark","id":1,"mark":"run_end"}',
        b'{"t_s":true,"stamp_us":2,"utc":null,"kind":"mark","id":1,"mark":"run_end"}',
        b'{"t_s":1e300,"stamp_us":2,"utc":null,"kind":"mark","id":1,"mark":"run_end"}',
        b'{"t_s":1,"stamp_us":2,"utc":7,"kind":"mark","id":1,"mark":"run_end"}',
        b'{"t_s":1,"stamp_us":2,"kind":"mark","id":1,"mark":"run_end"}',
    ],
)  # fmt: skip
def test_a_corrupted_line_is_skipped_and_reported(tmp_path: Path, caplog, spoilt: bytes) -> None:
    path = write_all(tmp_path)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:3], spoilt + b"\n", *lines[3:]]))
    assert list(read_marks(tmp_path)) == WRITTEN
    assert "line 4 is passed over" in caplog.text


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=400))
def test_any_bytes_are_read_without_an_error(tmp_path: Path, data: bytes) -> None:
    logging.disable(logging.WARNING)
    try:
        (tmp_path / FILE_NAME).write_bytes(data)
        assert read_marks(tmp_path) == ()
    finally:
        logging.disable(logging.NOTSET)


def test_a_full_disk_is_reported_and_leaves_whole_lines(tmp_path: Path, monkeypatch) -> None:
    path = write_all(tmp_path)
    before = path.read_bytes()
    book, really = MarkBook(tmp_path), os.pwrite

    def some_then_none(place: int, data: bytes, at: int) -> int:
        if at > len(before):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return really(place, data[:20], at)

    with monkeypatch.context() as patch:
        patch.setattr(os, "pwrite", some_then_none)
        book.write(WRITTEN[0])
    assert words(book.problem) == "Marks are not being saved: no space left on device."
    assert path.read_bytes() == before
    book.write(WRITTEN[0])
    assert book.problem is None
    assert list(read_marks(tmp_path)) == [*WRITTEN, WRITTEN[0]]


def test_a_folder_that_is_gone_is_reported(tmp_path: Path) -> None:
    book = MarkBook(tmp_path / "gone")
    book.write(WRITTEN[0])
    assert words(book.problem) == "Marks are not being saved: no such file or directory."
    book.sync()
    (tmp_path / FILE_NAME).mkdir()
    book = MarkBook(tmp_path)
    book.write(WRITTEN[0])
    assert book.problem is not None
    assert read_marks(tmp_path) == ()


def test_written_marks_are_synced_once(tmp_path: Path, monkeypatch) -> None:
    synced = []
    monkeypatch.setattr(os, "fdatasync", synced.append)
    book = MarkBook(tmp_path)
    book.sync()
    book.write(WRITTEN[0])
    book.sync()
    book.sync()
    assert len(synced) == 1


def loop() -> Frames:
    (frames,) = [part for part in read_log(LOGS / "harbour_loop.tlog", 1 << 24) if len(part)]
    return frames


def taken(ride: Ride) -> dict:
    ride.finish()
    shown = json.loads(json.dumps(wire(ride.snapshot("x", age_s=0.0))))
    return {key: value for key, value in shown.items() if key != "link"}


GIVEN: list[tuple[float, Command]] = [
    (20.0, Set(1, "target_distance_m", 3000.0)),
    (60.0, Mark(2, "run_start")),
    (61.0, Set(3, "reserve_fraction", 0.35)),
    (90.0, Set(4, "home", "here")),
    (140.0, Mark(5, "run_end", "into the wind")),
    (200.0, Mark(6, "charged_full")),
    (210.0, Mark(8, "charged", amount=("left_fraction", 0.7))),
    (215.0, Mark(9, "charged", amount=("charged_ah", 1.5))),
    (230.0, Set(7, "setup", "big propeller")),
]


@pytest.mark.slow
def test_applied_again_from_the_file_they_give_the_same_figures(tmp_path: Path) -> None:
    frames, ride, book = loop(), Ride(PROFILE), MarkBook(tmp_path)
    since_s = (frames.stamp_us - frames.stamp_us[0]) * 1e-6
    begin = 0
    for at_s, command in GIVEN:
        # As in the service: the frames so far, then the command.
        end = int(np.searchsorted(since_s, at_s))
        ride.take(frames.where(np.arange(begin, end)))
        begin = end
        placed = with_place(command, ride)
        assert not isinstance(placed, Refused)
        assert apply_command(placed, ride, no_new_trip) is None
        book.write(timed_command(placed, ride, int(frames.stamp_us[end - 1])))
    ride.take(frames.where(np.arange(begin, len(frames))))
    again, without = Ride(PROFILE), Ride(PROFILE)
    (home,) = [one.command.value for one in read_marks(tmp_path) if one.command.id == 4]
    assert isinstance(home, tuple)  # the position of "here"
    replay(again, [frames], read_marks(tmp_path))
    assert taken(again) == taken(ride)
    without.take(frames)
    assert taken(without) != taken(ride)


def test_before_the_first_message_the_stream_time_is_unknown(tmp_path: Path) -> None:
    assert timed_command(Mark(1, "run_end"), Ride(PROFILE), 5) == TimedCommand(
        None, 5, None, Mark(1, "run_end")
    )


def test_a_mark_that_cannot_be_applied_again_is_reported(caplog) -> None:
    TimedCommand(None, 5, None, Mark(1, "charged_full")).apply(Ride(Profile()))
    assert "is not done again: what it needs is not known" in caplog.text
    TimedCommand(None, 5, None, Mark(1, "new_trip")).apply(Ride(PROFILE))


@pytest.mark.parametrize("stamp_us", [-1, 10**18, 1.5, True, "4", None])
def test_a_mark_with_an_impossible_stamp_is_ignored(tmp_path: Path, stamp_us: object) -> None:
    path = write_all(tmp_path)
    odd = {"t_s": 1.0, "stamp_us": stamp_us, "utc": None} | WRITTEN[0].command.as_dict()
    path.write_text(json.dumps(odd) + "\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    assert list(read_marks(tmp_path)) == WRITTEN
