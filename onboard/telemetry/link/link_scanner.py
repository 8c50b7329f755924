"""The scanner of a live link: pieces to frames, leftover bytes carried over.

Frames are found by `link_walk`. Here the craft's bytes are separated from those that others send to
the same port, and the frames of both are merged in order.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from onboard.telemetry.link.base import Piece, Source
from onboard.telemetry.mavlink import headers
from onboard.telemetry.mavlink.frames import Frames, with_room
from onboard.telemetry.mavlink.link_walk import walk

JUNK_MOST_BYTES = 4096
"""Junk [bytes] above which frames are copied out of it, so that they do not pin its memory."""


class LinkScanner:
    """Find the frames in the pieces of a link; a frame has the stamp of its last byte."""

    def __init__(self) -> None:
        self._own: Source | None = None
        self._mine, self._others = _Stream(), _Stream()
        self._last: tuple[Sequence[Piece], list[int], list[int]] = (), [], []
        """The last push: its pieces, and its frames' `found` and `came`; see `_Part`."""

    def push(self, pieces: Sequence[Piece], own: Source | None = None) -> Frames:
        """Return the frames that the pieces complete, in the order in which they ended.

        Parameters
        ----------
        pieces
            Received pieces, in order.
        own
            A source whose bytes are scanned as a separate stream, so that bytes of others cannot
            break its frames. None: all sources are one stream.
        """
        if own != self._own:
            if self._own is not None:
                # It was one of the others, so their leftover bytes may begin a frame of it.
                self._mine, self._others = self._others, self._mine
            self._own = own
        every = range(len(pieces))
        mine = every if own is None else [n for n in every if pieces[n].source == own]
        part = self._mine.push(pieces, mine)
        if len(mine) < len(pieces):
            others = [n for n in every if pieces[n].source != own]
            part = _merged(part, self._others.push(pieces, others))
        elif part.bad_bytes > JUNK_MOST_BYTES:
            part = _merged(part)
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
        """Return the source of the last of some frames: that of the piece in which it ended.

        Parameters
        ----------
        frames
            Frames of the last push, at least one.
        """
        pieces, found, came = self._last
        return pieces[came[bisect_left(found[::4], int(frames.marker[-1]))]].source


class _Part(NamedTuple):
    """Frames found in one stream's share of a push.

    `found` holds four values per frame: marker, end, first eight bytes, message id; `came` is the
    number of the piece in which each frame ended.
    """

    data: bytes
    found: list[int]
    came: list[int]
    stamps: list[int]
    version_1: bool
    bad_bytes: int


class _Stream:
    """Consecutive bytes; those of an incomplete frame are kept for the next push."""

    def __init__(self) -> None:
        self._in_step = True
        self.rest = b""

    def push(self, pieces: Sequence[Piece], numbers: Sequence[int]) -> _Part:
        """Return the frames that the pieces of these numbers complete."""
        data = b"".join((self.rest, *[pieces[n][1] for n in numbers]))
        end = len(self.rest)
        found, consumed, self._in_step, version_1 = walk(data, self._in_step)
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


def _merged(*parts: _Part) -> _Part:
    """Return the frames of all parts in the order in which they ended, without bytes between."""
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
