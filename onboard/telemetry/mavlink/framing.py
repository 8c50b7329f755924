"""Where the frames of a telemetry log begin and end. No input or output, no clock.

A record is an eight-byte stamp and a frame. A live link, which has no stamps, follows the same rule
in `link_walk`.

The rule, applied at a place where a frame may begin:

- a frame of a known message counts if its checksum is right;
- a frame of an unknown message cannot be checked: it counts only directly behind a frame that
  counts, only if a start marker (or the end of all data) follows directly, and only if no frame
  with a right checksum begins inside it;
- anything else is one bad byte, and the next place is one byte on.

The rule only looks forward from a place, so the frames found do not depend on how the bytes were
cut. Here all places are judged at once with a few array operations; Python loops only over those
that lie inside another's frame, or where an unknown message does not follow directly. The tests
hold a slow, literal implementation of the same rule.
"""

import numpy as np

from onboard.dataclass import dataclass
from onboard.telemetry.mavlink import headers
from onboard.telemetry.mavlink.checksum import Bytes, Flags, Ints, frames_pass
from onboard.telemetry.mavlink.frames import STAMP_BYTES
from onboard.telemetry.mavlink.layouts import UNKNOWN_ID, crc_extras

FIRST_MARKER = headers.MARKER_2
"""The marker of MAVLink 1 is one more."""

HEADER_BYTES = 3
"""Marker, length and flags: these determine where a frame ends."""


@dataclass(frozen=True)
class FoundFrames:
    """Result of a scan.

    Parameters
    ----------
    start
        Start of each wanted record, shape (n,).
    end
        Its end, shape (n,).
    word
        Header of its frame; see `headers`, shape (n,).
    message_id
        Its message id, shape (n,).
    count
        Number of records, wanted or not.
    consumed
        Number of bytes settled; the rest must be scanned again with more bytes behind it.
    bad_bytes
        Number of consumed bytes that form no frame, as far as they were checked.
    in_step
        Whether a frame ends exactly where the consumed bytes end.
    """

    start: Ints
    end: Ints
    word: Ints
    message_id: Ints
    count: int
    consumed: int
    bad_bytes: int
    in_step: bool


class _Candidates:
    """All places where a frame may begin, as columns in rising order."""

    def __init__(self, data: Bytes, size: int, final: bool) -> None:
        last = max(size - STAMP_BYTES - HEADER_BYTES + 1, 0)
        here = np.subtract(data[STAMP_BYTES : STAMP_BYTES + last], FIRST_MARKER) < 2
        # A stamp's top byte is zero until the year 4253: this removes most false places.
        here &= data[:last] == 0
        start = np.flatnonzero(here)
        word = headers.read_words(data, start + STAMP_BYTES)
        allowed = headers.flags(word) <= headers.SIGNED
        if not allowed.all():
            start, word = start[allowed], word[allowed]
        self.start, self.word = start, word
        self.marker = start + STAMP_BYTES
        self.end = self.marker + headers.frame_bytes(word)
        self.message_id = headers.message_ids(data, self.marker, word)
        self.extra = crc_extras().take(self.message_id, mode="clip")
        self.known: Flags = self.extra != UNKNOWN_ID
        begins = np.zeros(data.size, np.bool_)
        begins[start] = True
        self.followed: Flags = begins.take(self.end, mode="clip")
        if final:
            self.followed |= self.end == size
        self.complete: Flags = self.end <= size
        # Too near the end to see the bytes after it.
        self.undecided: Flags = self.end + STAMP_BYTES + HEADER_BYTES > size
        self.final = final

    def checked(self, data: Bytes, which: Flags) -> Flags:
        """Return which places among `which` hold a frame with a right checksum."""
        place = np.flatnonzero(which)
        marker, word = self.marker.take(place), self.word.take(place)
        covered = headers.payload_bytes(word) + headers.header_bytes(word) - 1
        right = np.zeros(len(self.start), np.bool_)
        right[place] = frames_pass(data, marker, covered, self.extra.take(place))
        return right

    def unknown(self, data: Bytes) -> tuple[Flags, Flags]:
        """Return which places hold a frame of an unknown message that counts if it is in step.

        Returns
        -------
        tuple of numpy.ndarray
            Those that do, and those that are open before more bytes come; shape (n,) each.
        """
        unknown = ~self.known & self.complete
        counts, waits = unknown & self.followed, unknown & self.undecided
        if self.final:
            waits[:] = False
        place = np.flatnonzero(counts)
        if not len(place):
            return counts, waits
        first, last = place + 1, np.searchsorted(self.start, self.end[place])
        depth = np.zeros(len(self.start) + 1, np.int64)
        np.add.at(depth, first, 1)
        np.add.at(depth, last, -1)
        inside = np.cumsum(depth[:-1]) > 0
        proven = np.cumsum(np.append(0, self.checked(data, inside & self.known & self.complete)))
        counts[place[proven[last] > proven[first]]] = False
        if not self.final:
            cut = np.cumsum(np.append(0, ~self.complete))
            waits[place[cut[last] > cut[first]]] = True
        return counts & ~waits, waits

    def harmless(self, wanted: Flags) -> Flags:
        """Return which places hold a frame that may be skipped unchecked.

        It is not wanted, and no other frame can lie inside it. Whether an unknown message behind it
        counts may depend on it, but that one hides no frame with a right checksum either.
        """
        shared: Flags = ~wanted.take(self.message_id, mode="clip") & self.followed & ~self.undecided
        after = np.append(self.start[1:], np.iinfo(np.int64).max)
        shared &= after >= self.end
        return shared


def scan(
    data: Bytes,
    size: int,
    *,
    in_step: bool,
    final: bool,
    wanted: Flags | None = None,
) -> FoundFrames:
    """Find the frames in the first `size` bytes of `data`.

    Parameters
    ----------
    data
        The bytes, with `frames.ROOM` bytes to spare behind `size`.
    size
        Number of bytes to scan.
    in_step
        Whether a frame ended directly in front of the first byte.
    final
        Whether no more bytes will come.
    wanted
        Whether a message is wanted, by its id, shape (65536,): only wanted ones are sure to be
        checked, the others are left out. None: all are wanted.

    Returns
    -------
    FoundFrames
        The frames, and where to go on.
    """
    places = _Candidates(data, size, final)
    unknown, waits = places.unknown(data)
    place, start, end = _chosen(places, data, unknown, wanted, in_step)
    stop = None if final else _first_open(places, waits, start, end, in_step)
    if stop is not None:
        count = int(np.searchsorted(start, stop))
        place, start, end = place[:count], start[:count], end[:count]
        consumed = stop
    else:
        reached = int(end[-1]) if len(end) else 0
        consumed = size if final else max(reached, size - STAMP_BYTES - HEADER_BYTES + 1)
    in_step = int(end[-1]) == consumed if len(end) else in_step and consumed == 0
    bad_bytes, count = consumed - int(end.sum() - start.sum()), len(place)
    if wanted is not None:
        mine = np.flatnonzero(wanted.take(places.message_id, mode="clip").take(place))
        place, start, end = place.take(mine), start.take(mine), end.take(mine)
    word, message_id = places.word.take(place), places.message_id.take(place)
    return FoundFrames(start, end, word, message_id, count, consumed, bad_bytes, in_step)


def _chosen(
    places: _Candidates, data: Bytes, unknown: Flags, wanted: Flags | None, in_step: bool
) -> tuple[Ints, Ints, Ints]:
    """Return the places whose frames count, as far as they can be judged, their start and end."""
    counts = unknown.copy()
    check = places.known & places.complete
    if wanted is not None:
        harmless = check & places.harmless(wanted)
        counts |= harmless
        check &= ~harmless
    # Most places not followed by a marker lie inside frames, and need not be checked.
    now = check & (places.followed | places.undecided)
    while True:
        counts |= places.checked(data, now)
        check &= ~now
        place = np.flatnonzero(counts)
        start, end = places.start.take(place), places.end.take(place)
        taken = _one_after_another(start, end, places.known.take(place), in_step)
        if taken is not None:
            place, start, end = place[taken], start[taken], end[taken]
        left = np.flatnonzero(check)
        if len(end):
            outside = places.start[left]
            before = np.searchsorted(start, outside, side="right") - 1
            left = left[(before < 0) | (end.take(before, mode="clip") <= outside)]
        if not len(left):
            return place, start, end
        now = np.zeros(len(counts), np.bool_)
        now[left] = True


def _one_after_another(start: Ints, end: Ints, known: Flags, in_step: bool) -> Flags | None:
    """Return which frames count when walking from the end of each to the next; None: all do."""
    before = np.concatenate([[0 if in_step else -1], end[:-1]])
    odd = np.flatnonzero((start < before) | (~known & (start != before)))
    if not len(odd):
        return None
    taken = np.ones(len(start), np.bool_)
    done = 0
    for first in odd.tolist():
        n = first
        if n < done:
            continue
        at = int(before[n])
        # A frame left out frees its bytes for the next one, which is then judged again.
        while n < len(start) and (start[n] < at or (not known[n] and start[n] != at)):
            taken[n] = False
            n += 1
        done = n + 1
    return taken


def _first_open(
    places: _Candidates, waits: Flags, start: Ints, end: Ints, in_step: bool
) -> int | None:
    """Return the first place that is open before more bytes come, None if there is none."""
    for place in np.flatnonzero(~places.complete | waits).tolist():
        at = int(places.start[place])
        before = int(np.searchsorted(start, at)) - 1
        reached = int(end[before]) if before >= 0 else 0
        if reached > at:
            continue
        behind = reached == at and (in_step or before >= 0)
        if not places.complete[place] or behind:
            return at
    return None
