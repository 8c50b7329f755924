"""The scanner of a live link: a lean reading of the rule in `framing`, frame by frame.

A link gives a few frames at a time, and an array operation costs the same for few as for many; so
frames are walked here in plain Python. Only in a flood, where place after place holds no frame, the
next one that does is found by arrays, in `sieve`. A property test holds all readings equal.
"""

import re
import sys
from binascii import crc_hqx
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from operator import itemgetter
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
from onboard.telemetry.links.base import Piece, Source
from onboard.telemetry.sieve import LONGEST, passing

_MIRRORED_EXTRA = {
    number: MIRRORED[extra : extra + 1]
    for number, extra in enumerate(crc_extras().tolist())
    if extra != UNKNOWN_ID
}
"""CRC_EXTRA of the known messages, the bits the other way round; see `checksum`."""

TRIED_MOST = 16
"""So many places of a push are tried one by one; a link that is merely bad needs no more."""

SIEVED_LEAST_BYTES, SIEVED_MOST_BYTES = 256, 1 << 16
"""Fewer are sooner tried one by one; with more at once the arrays would not fit a cache."""

JUNK_MOST_BYTES = 4096
"""With more of it among them, frames are put together anew: who holds them must hold no flood."""

_WORD = Struct("<q").unpack_from

_may_begin = re.compile(rb"\xfe|\xfd(?=.[\x00\x01])", re.DOTALL).search
"""A frame may begin there: both markers are looked for at once, for the one that is absent would be
looked for to the end each time."""


class LinkScanner:
    """Finds the frames in what a link gives. A frame's stamp is when its last byte came."""

    def __init__(self) -> None:
        self._own: Source | None = None
        self._mine, self._others = _Stream(), _Stream()
        self._last: tuple[Sequence[Piece], list[int], list[int]] = (), [], []
        """The last push's pieces; its frames, as `found` and as `came`."""

    def push(self, pieces: Sequence[Piece], own: Source | None = None) -> Frames:
        """Give the frames that the pieces complete, in the order in which they ended.

        Parameters
        ----------
        pieces
            What came, in order.
        own
            A source whose bytes are a stream by themselves, so that nothing that others send runs
            into its frames. None: all are one stream.
        """
        if own != self._own:
            if self._own is not None:
                # It was one of the others, so what they left over may be a beginning of its own.
                self._mine, self._others = self._others, self._mine
            self._own = own
        every = range(len(pieces))
        mine = every if own is None else [n for n in every if pieces[n].source == own]
        part = self._mine.push(pieces, mine)
        if len(mine) < len(pieces):
            others = [n for n in every if pieces[n].source != own]
            part = _put_together(part, self._others.push(pieces, others))
        elif part.bad_bytes > JUNK_MOST_BYTES:
            part = _put_together(part)
        self._last = pieces, part.found, part.came
        marker, end, word, number = np.array(part.found, np.int64).reshape(-1, 4).T
        return Frames(
            with_room(part.data),
            marker,
            end - marker,
            np.array(part.stamps, np.int64),
            headers.as_version_2(word) if part.version_1 else word,
            number,
            part.bad_bytes,
        )

    def source(self, frames: Frames) -> Source | None:
        """Give where the last of some frames came from: the source of the piece that ended it.

        Parameters
        ----------
        frames
            Frames of the last push, at least one.
        """
        pieces, found, came = self._last
        return pieces[came[bisect_left(found[::4], int(frames.marker[-1]))]].source


class _Part(NamedTuple):
    """What a stream's share of a push gave.

    `found` holds, for one frame after the other: marker, end, first eight bytes, message id;
    `came` the number of the piece with which each of them ended.
    """

    data: bytes
    found: list[int]
    came: list[int]
    stamps: list[int]
    version_1: bool
    bad_bytes: int


class _Stream:
    """Bytes that follow each other: those that complete no frame yet are kept."""

    def __init__(self) -> None:
        self._in_step = True
        self.rest = b""

    def push(self, pieces: Sequence[Piece], numbers: Sequence[int]) -> _Part:
        """Take in the pieces of these numbers."""
        data = b"".join((self.rest, *[pieces[n][1] for n in numbers]))
        end = len(self.rest)
        found, consumed, self._in_step, version_1 = _walk(data, self._in_step)
        self.rest = data[consumed:]
        ends = found[1::4]
        came: list[int] = []
        stamps: list[int] = []
        for n in numbers:
            end += len(pieces[n][1])
            count = bisect_right(ends, end) - len(came)
            came += [n] * count
            stamps += [pieces[n][0]] * count
        bad_bytes = consumed - sum(ends) + sum(found[::4])
        return _Part(data, found, came, stamps, version_1, bad_bytes)


def _put_together(*parts: _Part) -> _Part:
    """Give the frames of all parts in the order in which they ended, and nothing between them."""
    rows = [
        (came, stamp_us, part.data[at:end], word, number)
        for part in parts
        for came, stamp_us, at, end, word, number in zip(
            part.came, part.stamps, *(part.found[n::4] for n in range(4)), strict=True
        )
    ]
    rows.sort(key=itemgetter(0))
    found: list[int] = []
    at = 0
    for _, _, frame, word, number in rows:
        found += (at, at + len(frame), word, number)
        at += len(frame)
    return _Part(
        b"".join([row[2] for row in rows]),
        found,
        [row[0] for row in rows],
        [row[1] for row in rows],
        any(part.version_1 for part in parts),
        sum(part.bad_bytes for part in parts),
    )


class _Places:
    """The places of some bytes where a frame may begin, looked up one after the other."""

    _tried = 0
    _sieved = range(0)
    _passing: Sequence[int] = ()
    """All places in `_sieved` with a frame that passes."""

    def __init__(self, data: bytes, mirrored: bytes) -> None:
        self._data, self._mirrored = data, mirrored

    def next(self, at: int, last: int) -> int:
        """Give the next place from `at` to `last`, else the one behind `last`."""
        self._tried += 1
        if self._tried > TRIED_MOST:
            at = self._next_passing(at, last)
        place = _may_begin(self._data, at, last + HEADER_BYTES)
        return min(place.start(), last + 1) if place else last + 1

    def _next_passing(self, at: int, last: int) -> int:
        """Give a place from `at` on that no place with a frame that passes lies in front of."""
        # Behind this a frame may be cut off: what it is can only be told by its marker.
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


def _walk(
    data: bytes, in_step: bool, until: int = sys.maxsize
) -> tuple[list[int], int, bool, bool]:
    """Walk from frame to frame; with `until`, no further than to this place.

    Returns
    -------
    tuple
        The frames as `found`; how far it came; whether it is in step there; whether a frame may be
        one of MAVLink 1.
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
    """Tell whether an unknown message's frame, in step, counts; None until more bytes come."""
    if end + HEADER_BYTES > len(data):
        return None
    begins = data[end] == MARKER_1 or (data[end] == MARKER_2 and data[end + 2] <= SIGNED)
    cut = False
    place = places.next(at + 1, end - 1)
    while place < end:
        found, consumed, _, _ = _walk(data[place : place + LONGEST], False, until=0)
        if found:
            return False
        cut |= not consumed
        place = places.next(place + 1, end - 1)
    return None if begins and cut else begins
