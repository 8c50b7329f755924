"""A slow, literal implementation of the framing rule, the reference of the fast scanners."""

import pymavlink.dialects.v20.all as dialect
from pymavlink.generator.mavcrc import x25crc

EXTRAS = {number: message.crc_extra for number, message in dialect.mavlink_map.items()} | {291: 10}


def frame_at(data: bytes, at: int) -> tuple[int, int, int] | None:
    """Return size, message id and covered bytes of the frame that may begin here, or None."""
    if at + 3 > len(data):
        return None
    length = data[at + 1]
    if data[at] == 0xFE:
        number = data[at + 5] if at + 5 < len(data) else 0
        return length + 8, number, length + 5
    if data[at] == 0xFD and data[at + 2] in (0, 1):
        number = int.from_bytes(data[at + 7 : at + 10], "little")
        return length + 12 + 13 * data[at + 2], number, length + 9
    return None


def may_begin(data: bytes, at: int, prefix: int) -> bool:
    return (
        at < len(data)
        and (prefix == 0 or data[at] == 0)
        and frame_at(data, at + prefix) is not None
    )


def proven(data: bytes, at: int, prefix: int) -> bool:
    if not may_begin(data, at, prefix):
        return False
    marker = at + prefix
    size, number, covered = frame_at(data, marker)
    if marker + size > len(data) or number not in EXTRAS:
        return False
    crc = x25crc(data[marker + 1 : marker + 1 + covered])
    crc.accumulate(bytes([EXTRAS[number]]))
    return crc.crc == int.from_bytes(data[marker + 1 + covered : marker + 3 + covered], "little")


def frames(data: bytes, prefix: int) -> tuple[list[tuple[int, int]], int]:
    """Return the spans of the records in some bytes, and the number of bytes that form none."""
    found, bad, at, in_step = [], 0, 0, True
    while at < len(data):
        counts = False
        if may_begin(data, at, prefix):
            marker = at + prefix
            size, number, _ = frame_at(data, marker)
            end = marker + size
            if end <= len(data):
                if number in EXTRAS:
                    counts = proven(data, at, prefix)
                else:
                    counts = in_step and (end == len(data) or may_begin(data, end, prefix))
                    counts &= not any(proven(data, n, prefix) for n in range(at + 1, end))
        if counts:
            found.append((at, end))
            at, in_step = end, True
        else:
            bad, at, in_step = bad + 1, at + 1, False
    return found, bad
