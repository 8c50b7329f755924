"""A telemetry log: each frame is preceded by 8 bytes with its time of arrival.

The time is a big-endian count of microseconds since the Unix epoch, its low two bits clear.
Source of the format: pymavlink 2.4.50, mavutil.py, which writes and reads such logs.
"""

import struct
from collections.abc import Iterable, Iterator
from pathlib import Path

from tests.craft.mavlink_stream import Frame


def log_bytes(frames: Iterable[Frame], start_unix_s: float) -> bytes:
    """Return the log of a stream that starts at a Unix time."""
    start_us = round(start_unix_s * 1e6)
    return b"".join(
        struct.pack(">Q", (start_us + round(frame.time_s * 1e6)) & ~3) + frame.data
        for frame in frames
    )


def log_frames(path: Path) -> Iterator[Frame]:
    """Yield the frames of an undamaged log; time counts from its first record."""
    data = path.read_bytes()
    place, first_us = 0, None
    while place < len(data):
        (stamp_us,) = struct.unpack_from(">Q", data, place)
        first_us = stamp_us if first_us is None else first_us
        size = frame_size(data, place + 8)
        yield Frame((stamp_us - first_us) * 1e-6, data[place + 8 : place + 8 + size])
        place += 8 + size


def frame_size(data: bytes, place: int) -> int:
    """Return the size of the frame at a place [bytes] (guide to MAVLink serialization)."""
    if data[place] == 0xFE:
        return 8 + data[place + 1]
    if data[place] == 0xFD:
        return 12 + data[place + 1] + (13 if data[place + 2] & 1 else 0)
    raise ValueError(f"byte {place}: {data[place]:#04x} starts no frame")
