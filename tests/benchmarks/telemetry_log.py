"""Telemetry logs to columns, against three ways to read them with pymavlink."""

from collections.abc import Iterator
from pathlib import Path

import pymavlink.dialects.v20.all as dialect
from pymavlink import mavutil

from onboard.telemetry.logs.raw_columns import read_messages
from tests.benchmarks.rows import Row, given
from tests.craft.telemetry_log import frame_size

SIX = (
    "SYS_STATUS",
    "BATTERY_STATUS",
    "GPS_RAW_INT",
    "GLOBAL_POSITION_INT",
    "ATTITUDE",
    "ESC_TELEMETRY_1_TO_4",
)
SIX_IDS = {number for number, one in dialect.mavlink_map.items() if one.msgname in SIX}


def recv_match(path: Path, names: list[str] | None = None) -> None:
    """Read with the usual loop, without accessing any field."""
    log = mavutil.mavlink_connection(str(path), dialect="all")
    while log.recv_match(type=names) is not None:
        pass


def skip_and_decode(path: Path) -> int:
    """Read as fast as pymavlink can: decode only the wanted frames, in a lean loop."""
    decode = dialect.MAVLink(None).decode
    return sum(1 for frame in wanted_frames(path.read_bytes()) if decode(bytearray(frame)))


def wanted_frames(data: bytes) -> Iterator[bytes]:
    """Yield the frames of the six messages, found by their lengths alone."""
    at, size = 8, len(data)
    while at < size:
        length = frame_size(data, at)
        if int.from_bytes(data[at + 7 : at + 10], "little") in SIX_IDS:
            yield data[at : at + length]
        at += length + 8


def rows(hour: Path) -> list[Row]:
    """Return the comparisons of this part, on the log of an hour."""
    six = given(read_messages, hour, SIX)
    return [
        Row(
            "telemetry log, 6 messages, CRC / recv_match(type)",
            six,
            given(recv_match, hour, list(SIX)),
            40,
            80,
        ),
        Row(
            "telemetry log, every message, CRC / recv_match()",
            given(read_messages, hour),
            given(recv_match, hour),
            45,
            70,
        ),
        Row(
            "telemetry log, 6 messages, CRC / skip loop and MAVLink.decode",
            six,
            given(skip_and_decode, hour),
            15,
            25,
        ),
    ]
