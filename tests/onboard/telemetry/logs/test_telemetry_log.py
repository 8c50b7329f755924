"""Saved logs: windows, truncated ends, and files that are not logs."""

import os
from itertools import pairwise
from pathlib import Path

import pytest

from onboard.errors import LogError
from onboard.telemetry.logs.cursors import FrameCursor
from onboard.telemetry.logs.log_files import (
    RECORD_NAME,
    find_log,
    opened,
    record_name,
    session_folder,
)
from onboard.telemetry.logs.telemetry_log import log_span_us, read_log
from tests.small_streams import Sender, records

START_US = 1_750_000_000_000_000


def log_bytes(seconds: int = 20) -> tuple[bytes, int]:
    sender = Sender()
    frames = [frame for n in range(seconds) for frame in sender.second(n, 50, 10, 2)]
    return records(frames, START_US), len(frames)


@pytest.mark.parametrize("window", [64, 1000, 1 << 20])
def test_frames_do_not_depend_on_the_window(tmp_path: Path, window: int) -> None:
    data, count = log_bytes()
    path = tmp_path / "ride"
    path.write_bytes(b"\x00\x01junk" + data[:500] + b"\xfd\xfe\xfd" * 9 + data[500:] + data[:7])
    parts = list(read_log(path, window))
    whole = list(read_log(path))
    assert sum(map(len, parts)) == sum(map(len, whole)) >= count - 1
    assert sum(part.bad_bytes for part in parts) == sum(part.bad_bytes for part in whole) > 0


def test_a_truncated_log_gives_its_whole_frames(tmp_path: Path) -> None:
    data, count = log_bytes()
    path = tmp_path / "cut"
    path.write_bytes(data[:-5])
    assert sum(map(len, read_log(path))) == count - 1


def test_span_is_read_from_the_ends(tmp_path: Path) -> None:
    data, count = log_bytes(400)
    path = tmp_path / "long"
    path.write_bytes(data + b"\x00" * 70_000)
    assert log_span_us(path) == (START_US, START_US + (count - 1) * 100_000)


def test_a_file_that_is_no_log_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        find_log(tmp_path / "missing")
    (tmp_path / "empty").write_bytes(b"")
    with pytest.raises(LogError, match="empty"):
        find_log(tmp_path / "empty")
    (tmp_path / "notes.txt").write_text("Went out at nine, came back at ten.\n" * 50)
    with pytest.raises(LogError, match="no MAVLink frame"):
        list(read_log(tmp_path / "notes.txt"))
    (tmp_path / "folder").mkdir()
    with pytest.raises(LogError, match=RECORD_NAME):
        find_log(tmp_path / "folder")


def test_a_session_folder_serves_as_a_log(tmp_path: Path) -> None:
    data, count = log_bytes()
    (tmp_path / RECORD_NAME).write_bytes(data)
    assert sum(map(len, read_log(tmp_path))) == count


@pytest.mark.parametrize("cuts", [[0], [1], [700, 700, 9000], [36 * 5, 20_000]])
def test_a_record_in_several_files_is_one_log(tmp_path: Path, cuts: list[int]) -> None:
    data, count = log_bytes(300)
    (tmp_path / "one").write_bytes(data)
    for number, (begin, end) in enumerate(pairwise([0, *cuts, len(data)]), 1):
        (tmp_path / record_name(number)).write_bytes(data[begin:end])
    (tmp_path / "telemetry-11.tlog").mkdir()  # not a file, so not read
    assert [part.records() for part in read_log(tmp_path, 1000)] == [
        part.records() for part in read_log(tmp_path / "one", 1000)
    ]
    assert log_span_us(tmp_path) == log_span_us(tmp_path / "one")
    with opened(find_log(tmp_path)) as log:
        for offset in (*range(0, len(data) + 100, 701), *cuts, 0):
            log.seek(offset)
            assert log.read(3000) == data[offset : offset + 3000]
            assert log.read() == data[offset + 3000 :]
        assert log.tail(5000) == data[-5000:]
        assert log.tail(len(data) + 1) == data
    cursor = FrameCursor(tmp_path)
    assert sum(map(len, cursor.upto(1e9))) == count


def test_files_are_in_order_of_their_numbers_and_a_pipe_is_skipped(tmp_path: Path) -> None:
    for number in (10, 9, 2):
        (tmp_path / record_name(number)).write_bytes(b"x")
    os.mkfifo(tmp_path / RECORD_NAME)
    for name in ("telemetry-0.tlog", "telemetry-02.tlog", "telemetry.tlog.bak", "x-telemetry.tlog"):
        (tmp_path / name).write_bytes(b"x")
    names = ["telemetry-2.tlog", "telemetry-9.tlog", "telemetry-10.tlog"]
    assert [path.name for path in find_log(tmp_path)] == names
    assert session_folder(tmp_path / names[0]) == tmp_path
    assert session_folder(tmp_path / "telemetry-02.tlog") is None
