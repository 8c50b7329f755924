"""The scanner of a live link: a lean reading of the rule in `framing`, frame by frame.

A link gives a few frames at a time, and an array operation costs the same for few as for many; so
frames are walked here in plain Python. A property test holds both readings equal.
"""

import sys
from binascii import crc_hqx
from bisect import bisect_right
from collections.abc import Sequence
from struct import Struct
from typing import NamedTuple

import numpy as np

from onboard.telemetry import headers
from onboard.telemetry.checksum import MIRRORED
from onboard.telemetry.frames import Frames, with_room
from onboard.telemetry.framing import HEADER_BYTES
from onboard.telemetry.headers import (
    HEADER_1,
    HEADER_2,
    MARKER_1,
    MARKER_2,
    SIGNATURE_BYTES,
    SIGNED,
)
from onboard.telemetry.layouts import UNKNOWN_ID, crc_extras

_MIRRORED_EXTRA = {
    number: MIRRORED[extra : extra + 1]
    for number, extra in enumerate(crc_extras().tolist())
    if extra != UNKNOWN_ID
}
"""CRC_EXTRA of the known messages, the bits the other way round; see `checksum`."""

LONGEST = 280
"""No frame is longer [bytes]."""

_WORD = Struct("<q").unpack_from


class LinkScanner:
    """Finds the frames in what a link gives. A frame's stamp is when its last byte came."""

    def __init__(self) -> None:
        self._rest = b""
        self._in_step = True

    def push(self, pieces: Sequence[tuple[int, bytes]]) -> Frames:
        """Give the frames that the pieces complete.

        Parameters
        ----------
        pieces
            Pairs of time of receipt [us since the Unix epoch] and bytes, in order.
        """
        data = b"".join((self._rest, *(piece for _, piece in pieces)))
        end = len(self._rest)
        walk = _walk(data, self._in_step)
        self._rest, self._in_step = data[walk.consumed :], walk.in_step
        ends = walk.found[1::4]
        stamps: list[int] = []
        for stamp_us, piece in pieces:
            end += len(piece)
            stamps += [stamp_us] * (bisect_right(ends, end) - len(stamps))
        marker, found_end, word, number = np.array(walk.found, np.int64).reshape(-1, 4).T
        return Frames(
            with_room(data),
            marker,
            found_end - marker,
            np.array(stamps, np.int64),
            headers.as_version_2(word) if walk.version_1 else word,
            number,
            walk.consumed - sum(ends) + sum(walk.found[::4]),
        )


class _Walked(NamedTuple):
    """What a walk found.

    `found` holds, for one frame after the other: marker, end, first eight bytes, message id.
    """

    found: list[int]
    consumed: int
    in_step: bool
    version_1: bool


def _walk(data: bytes, in_step: bool, until: int = sys.maxsize) -> _Walked:
    """Walk from frame to frame; with `until`, no further than to this place."""
    mirrored = data.translate(MIRRORED)
    found: list[int] = []
    version_1 = False
    extras = _MIRRORED_EXTRA
    at, last = 0, min(len(data) - HEADER_BYTES, until)
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
            at, in_step = _next_marker(data, at + 1, last), False
            continue
        if end > len(data):
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
            verdict = in_step and _unknown_counts(data, at, end)
            if verdict is None:
                break
            counts = verdict
        if counts:
            found += (at, end, _WORD(data, at)[0], number)
            at, in_step = end, True
        else:
            at, in_step = _next_marker(data, at + 1, last), False
    return _Walked(found, at, in_step, version_1)


def _unknown_counts(data: bytes, at: int, end: int) -> bool | None:
    """Tell whether an unknown message's frame, in step, counts; None until more bytes come."""
    if end + HEADER_BYTES > len(data):
        return None
    begins = data[end] == MARKER_1 or (data[end] == MARKER_2 and data[end + 2] <= SIGNED)
    cut = False
    place = _next_marker(data, at + 1, end - 1)
    while place < end:
        walk = _walk(data[place : place + LONGEST], False, until=0)
        if walk.found and walk.found[0] == 0:
            return False
        cut |= not walk.consumed
        place = _next_marker(data, place + 1, end - 1)
    return None if begins and cut else begins


def _next_marker(data: bytes, at: int, last: int) -> int:
    """Give the next place from `at` to `last` with a marker, else the one behind `last`."""
    places = (data.find(marker, at, last + 1) for marker in (MARKER_1, MARKER_2))
    return min((place for place in places if place >= 0), default=last + 1)
