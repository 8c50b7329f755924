"""Hours of stream made of one hour, repeated with continuous clocks and counters.

Readings repeat each hour; boot clock, UTC, sequence numbers and the charge drawn continue as if the
craft had never stopped. Only the position jumps back once an hour.
"""

import binascii
import struct
from collections.abc import Iterator
from dataclasses import dataclass

import pymavlink.dialects.v20.all as dialect

from tests.craft.mavlink_stream import Frame

HEADER_BYTES = 10


@dataclass(frozen=True)
class Counter:
    """A field that counts time: offset in the payload, struct format, steps per second."""

    place: int
    form: str
    per_s: float


CLOCKS: dict[str, tuple[Counter, ...]] = {
    "SYSTEM_TIME": (Counter(0, "<Q", 1e6), Counter(8, "<I", 1e3)),
    "GPS_RAW_INT": (Counter(0, "<Q", 1e6),),
    "ATTITUDE": (Counter(0, "<I", 1e3),),
    "GLOBAL_POSITION_INT": (Counter(0, "<I", 1e3),),
    "LOCAL_POSITION_NED": (Counter(0, "<I", 1e3),),
    "RAW_IMU": (Counter(0, "<Q", 1e6),),
    "SCALED_PRESSURE": (Counter(0, "<I", 1e3),),
    "SERVO_OUTPUT_RAW": (Counter(0, "<I", 1e6),),
    "VIBRATION": (Counter(0, "<Q", 1e6),),
}
CHARGE_MAH, ENERGY_HJ = 0, 4
"""Payload offsets of the charge and energy drawn in BATTERY_STATUS."""

_MIRRORED = bytes(int(f"{value:08b}"[::-1], 2) for value in range(256))


def checksum(data: bytes, extra: int) -> bytes:
    """Return the checksum of a frame's bytes after the marker: X.25, which is CRC-16 mirrored.

    Examples
    --------
    >>> checksum(b"12345678", ord("9")).hex()
    '916f'
    """
    mirrored = (data + bytes([extra])).translate(_MIRRORED)
    return binascii.crc_hqx(mirrored, 0xFFFF).to_bytes(2, "big").translate(_MIRRORED)


class LongStream:
    """The frames of several hours.

    Parameters
    ----------
    hour
        The frames of one hour of MAVLink 2, without signatures.
    length_s
        Time between repetitions [s].
    """

    def __init__(self, hour: list[Frame], length_s: float = 3600.0) -> None:
        self._length_s = length_s
        self._hour = [_Sent(frame) for frame in hour]
        batteries = [one.payload for one in self._hour if one.name == "BATTERY_STATUS"]
        self._drawn = {
            place: _counted(batteries[-1], place) - _counted(batteries[0], place)
            for place in (CHARGE_MAH, ENERGY_HJ)
        }

    def frames(self, number: int) -> Iterator[Frame]:
        """Yield the frames of an hour, counted from 0."""
        later_s = number * self._length_s
        changes: dict[str, list[tuple[int, str, int]]] = {
            name: [(one.place, one.form, round(later_s * one.per_s)) for one in counters]
            for name, counters in CLOCKS.items()
        }
        changes["BATTERY_STATUS"] = [
            (place, "<i", number * drawn) for place, drawn in self._drawn.items()
        ]
        for count, one in enumerate(self._hour, number * len(self._hour)):
            yield Frame(later_s + one.time_s, one.again(count % 256, changes.get(one.name, [])))


class _Sent:
    """A frame taken apart to be sent again later."""

    def __init__(self, frame: Frame) -> None:
        data = frame.data
        message_id = int.from_bytes(data[7:HEADER_BYTES], "little")
        known = dialect.mavlink_map[message_id]
        self.time_s, self.name, self._extra = frame.time_s, known.msgname, known.crc_extra
        self._header = data[:HEADER_BYTES]
        # MAVLink 2 truncates trailing zeros.
        self.payload = data[HEADER_BYTES:-2].ljust(known.unpacker.size, b"\0")

    def again(self, sequence: int, changes: list[tuple[int, str, int]]) -> bytes:
        payload = bytearray(self.payload)
        for place, form, more in changes:
            (value,) = struct.unpack_from(form, payload, place)
            struct.pack_into(
                form, payload, place, (value + more) % (1 << 8 * struct.calcsize(form))
            )
        sent = payload.rstrip(b"\0") or payload[:1]
        header = bytearray(self._header)
        header[1], header[4] = len(sent), sequence
        body = bytes(header[1:] + sent)
        return b"\xfd" + body + checksum(body, self._extra)


def _counted(payload: bytes, place: int) -> int:
    (value,) = struct.unpack_from("<i", payload, place)
    return int(value)
