"""The lean scanner of live links: the rule of `framing` in plain Python, frame by frame.

A link gives a few frames at a time, and an array operation costs the same for few as for many. Only
in a flood, where place after place holds no frame, `sieve` finds the next frame with arrays. A
property test holds all implementations equal.
"""

import re
import sys
from binascii import crc_hqx
from bisect import bisect_left
from collections.abc import Sequence
from struct import Struct

from onboard.telemetry.mavlink.checksum import MIRRORED
from onboard.telemetry.mavlink.framing import HEADER_BYTES
from onboard.telemetry.mavlink.headers import (
    HEADER_1,
    HEADER_2,
    MARKER_1,
    MARKER_2,
    SIGNATURE_BYTES,
    SIGNED,
)
from onboard.telemetry.mavlink.layouts import UNKNOWN_ID, crc_extras
from onboard.telemetry.mavlink.sieve import LONGEST, passing

_MIRRORED_EXTRA = {
    number: MIRRORED[extra : extra + 1]
    for number, extra in enumerate(crc_extras().tolist())
    if extra != UNKNOWN_ID
}
"""CRC_EXTRA of the known messages with its bits reversed; see `checksum`."""

TRIED_MOST = 16
"""Positions of a push to try one by one before sieving; a merely bad link needs no more."""

SIEVED_LEAST_BYTES, SIEVED_MOST_BYTES = 256, 1 << 16
"""Bytes to sieve at a time: fewer are faster tried one by one, more would not fit a cache."""

_WORD = Struct("<q").unpack_from

_may_begin = re.compile(rb"\xfe|\xfd(?=.[\x00\x01])", re.DOTALL).search
"""Match where a frame may begin. Both markers in one search: a search for an absent marker would
run to the end each time."""


class _Places:
    """The places where a frame may begin, found one after the other."""

    _tried = 0
    _sieved = range(0)
    _passing: Sequence[int] = ()
    """All places in `_sieved` with a frame that passes."""

    def __init__(self, data: bytes, mirrored: bytes) -> None:
        self._data, self._mirrored = data, mirrored

    def next(self, at: int, last: int) -> int:
        """Return the next place from `at` to `last`, else the one behind `last`."""
        self._tried += 1
        if self._tried > TRIED_MOST:
            at = self._next_passing(at, last)
        place = _may_begin(self._data, at, last + HEADER_BYTES)
        return min(place.start(), last + 1) if place else last + 1

    def _next_passing(self, at: int, last: int) -> int:
        """Return the first place from `at` on that may hold a frame, skipping those that do not."""
        # Behind this a frame may be cut off, and only its marker can be checked.
        whole = len(self._data) - LONGEST
        while at <= last and (at in self._sieved or whole - at >= SIEVED_LEAST_BYTES):
            if at not in self._sieved:
                self._sieved = range(at, min(at + SIEVED_MOST_BYTES, whole))
                self._passing = passing(self._data, self._mirrored, at, self._sieved.stop)
            n = bisect_left(self._passing, at)
            if n < len(self._passing):
                return self._passing[n]
            at = self._sieved.stop
        return at


def walk(data: bytes, in_step: bool, until: int = sys.maxsize) -> tuple[list[int], int, bool, bool]:
    """Walk from frame to frame; with `until`, no further than this place.

    Returns
    -------
    tuple
        Four values per frame (marker, end, first eight bytes, message id); the number of bytes
        consumed; whether a frame ends exactly there; whether any frame may be of MAVLink 1.
    """
    mirrored = data.translate(MIRRORED)
    places = _Places(data, mirrored)
    found: list[int] = []
    version_1 = False
    extras = _MIRRORED_EXTRA
    size = len(data)
    at, last = 0, min(size - HEADER_BYTES, until)
    while at <= last:
        first = data[at]
        if first == MARKER_2 and data[at + 2] <= SIGNED:
            check = at + HEADER_2 + data[at + 1]
            end = check + 2 + SIGNATURE_BYTES * data[at + 2]
        elif first == MARKER_1:
            check = at + HEADER_1 + data[at + 1]
            end = check + 2
            version_1 = True
        else:
            at, in_step = places.next(at + 1, last), False
            continue
        if end > size:
            break
        if first == MARKER_2:
            number = data[at + 7] | data[at + 8] << 8 | data[at + 9] << 16
        else:
            number = data[at + 5]
        extra = extras.get(number)
        if extra is not None:
            state = crc_hqx(extra, crc_hqx(mirrored[at + 1 : check], 0xFFFF))
            counts = state == mirrored[check] << 8 | mirrored[check + 1]
        else:
            verdict = in_step and _unknown_counts(data, at, end, places)
            if verdict is None:
                break
            counts = verdict
        if counts:
            found += (at, end, _WORD(data, at)[0], number)
            at, in_step = end, True
        else:
            at, in_step = places.next(at + 1, last), False
    return found, at, in_step, version_1


def _unknown_counts(data: bytes, at: int, end: int, places: _Places) -> bool | None:
    """Return whether the frame of an unknown message, in step, counts; None: needs more bytes."""
    if end + HEADER_BYTES > len(data):
        return None
    begins = data[end] == MARKER_1 or (data[end] == MARKER_2 and data[end + 2] <= SIGNED)
    cut = False
    place = places.next(at + 1, end - 1)
    while place < end:
        found, consumed, _, _ = walk(data[place : place + LONGEST], False, until=0)
        if found:
            return False
        cut |= not consumed
        place = places.next(place + 1, end - 1)
    return None if begins and cut else begins
