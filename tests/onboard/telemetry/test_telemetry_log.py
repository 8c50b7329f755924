"""Saved logs: windows, cut tails, and files that are no log."""

from pathlib import Path

import pytest

from onboard.errors import LogError
from onboard.telemetry.log_files import RECORD_NAME, find_log
from onboard.telemetry.telemetry_log import log_span_us, read_log
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


def test_a_cut_log_gives_what_it_holds(tmp_path: Path) -> None:
    data, count = log_bytes()
    path = tmp_path / "cut"
    path.write_bytes(data[:-5])
    assert sum(map(len, read_log(path))) == count - 1


def test_span_is_read_from_the_ends(tmp_path: Path) -> None:
    data, count = log_bytes(400)
    path = tmp_path / "long"
    path.write_bytes(data + b"\x00" * 70_000)
    assert log_span_us(path) == (START_US, START_US + (count - 1) * 100_000)


def test_what_is_no_log_is_said_in_a_line(tmp_path: Path) -> None:
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
