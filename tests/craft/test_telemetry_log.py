"""The log's records."""

from pathlib import Path

import pytest
from pymavlink import mavutil

from tests.craft.mavlink_stream import Frame
from tests.craft.recording import Recording
from tests.craft.telemetry_log import frame_size, log_bytes, log_frames

# A published frame: HEARTBEAT, MAVLink 1 and 2 (rust-mavlink, tests/test_shared).
BEAT_1 = bytes.fromhex("fe09ef0102000500000002035903031f50")
BEAT_2 = bytes.fromhex("fd090000ef01020000000500000002035903032e73")


def test_record_of_a_known_time() -> None:
    # 2025-11-25 09:40:00.123456 UTC as pymavlink 2.4.50 writes it, low two bits clear.
    data = log_bytes([Frame(0.123456, BEAT_1)], 1764063600.0)
    assert data == bytes.fromhex("00064468103f1e40") + BEAT_1


@pytest.mark.parametrize("microseconds", [1, 2, 3, 5, 999_999])
def test_low_two_bits_are_clear(microseconds: int) -> None:
    data = log_bytes([Frame(microseconds * 1e-6, BEAT_2)], 1764063600.0)
    stamp = int.from_bytes(data[:8], "big")
    assert stamp & 3 == 0
    assert 0 <= 1764063600_000000 + microseconds - stamp < 4


@pytest.mark.parametrize(
    ("frame", "size"),
    [
        (BEAT_1, 17),
        (BEAT_2, 21),
        # A published signed frame (rust-mavlink, tests/signing).
        (
            bytes.fromhex("fd090100ef0102000000050000000203590303c98b00ffffffffffff2718b168ccf5"),
            34,
        ),
    ],
)
def test_frame_sizes(frame: bytes, size: int) -> None:
    assert frame_size(frame, 0) == size == len(frame)


def test_bytes_that_start_no_frame_are_refused() -> None:
    with pytest.raises(ValueError, match="0x55 starts no frame"):
        frame_size(b"\x55\x00\x00", 0)


def test_pymavlink_reads_the_log_as_it_was_sent(board: Recording, tmp_path: Path) -> None:
    path = tmp_path / "board.tlog"
    start_s = board.scenario.start_unix_s
    path.write_bytes(log_bytes(board.frames, start_s))
    log = mavutil.mavlogfile(str(path))
    read = []
    while (message := log.recv_msg()) is not None:
        read.append((message._timestamp - start_s, bytes(message.get_msgbuf())))
    log.f.close()
    log.filehandle = None
    assert [data for _, data in read] == [frame.data for frame in board.frames]
    for (time_s, _), frame in zip(read, board.frames, strict=True):
        assert time_s == pytest.approx(frame.time_s, abs=5e-6)


def test_reading_back(board: Recording, tmp_path: Path) -> None:
    path = tmp_path / "board.tlog"
    path.write_bytes(log_bytes(board.frames, board.scenario.start_unix_s))
    back = list(log_frames(path))
    assert [frame.data for frame in back] == [frame.data for frame in board.frames]
    assert back[-1].time_s == pytest.approx(
        board.frames[-1].time_s - board.frames[0].time_s, abs=1e-5
    )
