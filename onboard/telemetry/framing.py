"""Where MAVLink frames begin and end in a stretch of bytes. No input or output, no clock.

The rule, read from a place where a frame may begin:

- a frame of a known message counts if its checksum is right;
- a frame of an unknown message cannot be checked: it counts only right behind a frame that counts,
  and only if a start marker (or the end of all data) stands right behind it;
- anything else is one bad byte, and the next place is one byte on.

The rule looks only forward from a place, so the frames found do not depend on how the bytes were
cut. Nearly all of a stream is an unbroken chain of frames, found here with a few array operations;
Python walks only the breaks. The slow reading of the same rule is kept in the tests.
"""

from dataclasses import dataclass

import numpy as np

from onboard.telemetry.checksum import Bytes, Flags, Ints, crc, frames_pass
from onboard.telemetry.layouts import ID_LIMIT, UNKNOWN_ID, crc_extras

FIRST_MARKER = 0xFD
"""0xFD opens a MAVLink 2 frame, 0xFE a MAVLink 1 frame."""

SIGNED = 1
"""Incompatibility flag of a signed frame, the only one defined; a frame with another flag set must
be discarded (MAVLink serialisation guide)."""

HEADER_BYTES = 3
"""Marker, length and flags: with these a frame's end is known."""


@dataclass(frozen=True)
class Found:
    """What a scan found.

    Parameters
    ----------
    start
        Where each record (stamp and frame, or bare frame) begins, shape (n,).
    end
        Where it ends, shape (n,).
    consumed
        How many bytes are dealt with; the rest must be shown again with more behind it.
    bad_bytes
        How many of the consumed bytes form no frame.
    in_step
        Whether a frame ended right where the consumed bytes end.
    """

    start: Ints
    end: Ints
    consumed: int
    bad_bytes: int
    in_step: bool


class _Candidates:
    """All places where a frame may begin, as columns in rising order."""

    def __init__(self, data: Bytes, size: int, prefix: int, final: bool) -> None:
        self.data, self.prefix, self.size = data, prefix, size
        self.final = final
        last = max(size - prefix - HEADER_BYTES + 1, 0)
        start = np.flatnonzero(np.subtract(data[prefix : prefix + last], FIRST_MARKER) < 2)
        if prefix:
            # A stamp's top byte is zero until the year 4253: most false places go here.
            start = start[data.take(start) == 0]
        marker = start + prefix
        version_1 = (data.take(marker) - FIRST_MARKER).astype(np.int64)
        flags = np.where(version_1, 0, data.take(marker + 2))
        allowed = flags <= SIGNED
        start, version_1, flags = start[allowed], version_1[allowed], flags[allowed]
        self.start, self.version_1 = start, version_1
        length = data.take(start + prefix + 1).astype(np.int64)
        self.end = start + prefix + length + np.where(version_1, 8, 12 + 13 * (flags == SIGNED))
        self.covered = length + np.where(version_1, 5, 9)
        here = np.zeros(data.size, np.bool_)
        here[start] = True
        self.followed: Flags = here.take(np.minimum(self.end, data.size - 1))
        if final:
            self.followed |= self.end == size
        self.undecided: Flags = self.end + prefix + HEADER_BYTES > size

    def extras(self, which: Ints) -> Ints:
        """Give CRC_EXTRA of the chosen places, `UNKNOWN_ID` where the message is unknown."""
        marker = self.start[which] + self.prefix
        data, version_1 = self.data, self.version_1[which]
        message_id = data.take(marker + np.where(version_1, 5, 7)).astype(np.int64)
        high = data.take(marker + 8).astype(np.int64) << 8
        high |= data.take(marker + 9).astype(np.int64) << 16
        message_id += np.where(version_1, 0, high)
        extra = crc_extras().take(np.minimum(message_id, ID_LIMIT - 1)).astype(np.int64)
        extra[message_id >= ID_LIMIT] = UNKNOWN_ID
        return extra

    def passes(self, at: int, extra: int) -> bool:
        """Tell whether one frame's checksum is right."""
        first = int(self.start[at]) + self.prefix + 1
        last = first + int(self.covered[at])
        got = self.data[last : last + 2].tobytes()
        return crc(self.data[first:last].tobytes(), extra) == int.from_bytes(got, "little")


def scan(data: Bytes, size: int, *, prefix: int, in_step: bool, final: bool) -> Found:
    """Find the frames in the first `size` bytes of `data`.

    Parameters
    ----------
    data
        The bytes, with `frames.ROOM` bytes to spare behind `size`.
    size
        How many of them count.
    prefix
        Bytes in front of each frame that belong to it: 8 for the stamps of a telemetry log, else 0.
    in_step
        Whether a frame ended right in front of the first byte.
    final
        Whether no more bytes will come.

    Returns
    -------
    Found
        The frames, and from where to go on.
    """
    places = _Candidates(data, size, prefix, final)
    chained = np.flatnonzero((places.followed | places.undecided) & (places.end <= size))
    start, end = places.start[chained], places.end[chained]
    extra = places.extras(chained)
    known = extra != UNKNOWN_ID
    counts = places.followed[chained]
    checked = chained[known]
    counts[known] = frames_pass(
        data, places.start[checked] + prefix, places.covered[checked], extra[known]
    )
    # A run is a stretch of frames that count, each beginning where the one before ends.
    joined = (end[:-1] == start[1:]) & counts[:-1] & counts[1:]
    run_ends = np.append(np.flatnonzero(~joined), len(start) - 1)

    found: list[tuple[Ints, Ints]] = []
    at, bad = 0, 0
    while True:
        n = int(np.searchsorted(start, at))
        if n < len(start) and start[n] == at and counts[n] and (in_step or known[n]):
            run = slice(n, int(run_ends[np.searchsorted(run_ends, n)]) + 1)
            found.append((start[run], end[run]))
            at, in_step = int(end[run.stop - 1]), True
            continue
        c = int(np.searchsorted(places.start, at))
        if c == len(places.start):
            upto = size if final else max(at, size - prefix - HEADER_BYTES + 1)
            in_step = in_step and upto == at
            bad, at = bad + upto - at, upto
            break
        if (place := int(places.start[c])) > at:
            bad, at, in_step = bad + place - at, place, False
            continue
        verdict = _single(places, c, in_step)
        if verdict is None:
            break
        if verdict:
            found.append((places.start[c : c + 1], places.end[c : c + 1]))
            at, in_step = int(places.end[c]), True
        else:
            bad, at, in_step = bad + 1, at + 1, False
    starts = [pair[0] for pair in found] or [np.empty(0, np.int64)]
    ends = [pair[1] for pair in found] or [np.empty(0, np.int64)]
    return Found(np.concatenate(starts), np.concatenate(ends), at, bad, in_step)


def _single(places: _Candidates, c: int, in_step: bool) -> bool | None:
    """Judge one place by the rule; None where more bytes are needed."""
    if places.end[c] > places.size:
        return False if places.final else None
    extra = int(places.extras(np.array([c]))[0])
    if extra != UNKNOWN_ID:
        return places.passes(c, extra)
    if in_step and places.undecided[c] and not places.final:
        return None
    return bool(in_step and places.followed[c])
