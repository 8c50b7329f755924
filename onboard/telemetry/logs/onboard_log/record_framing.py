"""Where the records of an on-board log begin and end. No input or output, no clock.

Records have no checksum, so the bytes after a record must confirm it. The rule, at a position:

- a record counts if the marks A3 95 stand there, if its type was described by an earlier format
  record that counts, and if directly behind it stand the marks of another record (as far as there
  are bytes), the end of the data, or the padding (00 or FF) that fills it up;
- the next place is then behind the record; anything else is one bad byte, and the next place is one
  byte on.

So junk, zeroed blocks and cut tails yield no record, at the price of the sound record in front of
each. No rule without checksums detects flipped bits within a record, or one whose halves fit
together by chance over lost bytes (6 % of lost 512-byte blocks of the simulated log).

Here all places are judged at once. Format records are first taken to count wherever they seem to
stand; if one turns out to lie inside another record, everything is judged again without it.
"""

import numpy as np

from onboard.dataclass import dataclass
from onboard.telemetry.logs.onboard_log.record_layouts import (
    FORMAT_BYTES,
    FORMAT_TYPE,
    LONGEST_BYTES,
    OWN_RECORD,
    RecordLayout,
    layout_of,
)
from onboard.telemetry.mavlink.checksum import Bytes, Flags, Ints

MARK_1, MARK_2 = 0xA3, 0x95
MARK_BYTES = 2

ROOM = LONGEST_BYTES + MARK_BYTES + 1

_NOT_KNOWN = 1 << 40
"""Length of a type without a layout: nothing follows it."""


class RecordLayouts:
    """The layouts seen so far, each with a number, and the present layout of each type."""

    def __init__(self) -> None:
        self.all: list[RecordLayout | None] = [None]
        """By number; 0 is a type without a layout."""
        self.now: Ints = np.zeros(256, np.int64)
        """Number of each type's layout at the end of the scanned bytes."""
        self.length: Ints = np.array([_NOT_KNOWN])
        """Record length [bytes], by number."""
        self._number: dict[bytes, int] = {}
        self.now[FORMAT_TYPE] = self.number(OWN_RECORD)

    def number(self, record: bytes) -> int:
        """Return the number of the layout stated by a format record, 0 if it states none."""
        known = self._number.get(record)
        if known is None:
            layout = layout_of(record)
            known = len(self.all) if layout is not None else 0
            if layout is not None:
                self.all.append(layout)
                self.length = np.append(self.length, layout.length)
            self._number[record] = known
        return known


@dataclass(frozen=True)
class FoundRecords:
    """Result of a scan.

    Parameters
    ----------
    start
        Offset of each record, shape (n,).
    number
        Number of its layout, shape (n,).
    consumed
        Number of bytes settled; the rest must be scanned again with more bytes behind it.
    bad_bytes
        Number of consumed bytes that are part of no record.
    """

    start: Ints
    number: Ints
    consumed: int
    bad_bytes: int


class RecordScanner:
    """Find records in stretches of bytes; keeps the layouts, and arrays for reuse."""

    def __init__(self, capacity: int) -> None:
        self.layouts = RecordLayouts()
        self._marks = np.zeros(capacity + ROOM, np.bool_)
        self._second = np.zeros(capacity + ROOM, np.bool_)

    def scan(self, data: Bytes, size: int, *, final: bool, padding_from: int) -> FoundRecords:
        """Find the records in the first `size` bytes of `data`.

        Parameters
        ----------
        data
            The bytes.
        size
            Number of bytes to scan.
        final
            Whether no more bytes will come.
        padding_from
            Offset of the padding that fills the file to its end, from the first byte.
        """
        start, followed = self._marked(data, size, final, padding_from)
        kind = data.take(start + MARK_BYTES)
        formats = self._formats(data, start, kind, followed)
        while True:
            number, changes = self._numbers(start, kind, formats)
            chosen, end, stop = _chosen(
                start, self.layouts.length.take(number), followed, size, final
            )
            taken = start if chosen is None else start[chosen]
            inside = [at for at, _ in changes if at < stop and not _holds(taken, at)]
            if not inside:
                break
            formats = [one for one in formats if one[0] != inside[0]]
        for at, new in changes:
            if at < stop:
                self.layouts.now[self._type(new)] = new
        bad_bytes = stop - int(end.sum() - taken.sum())
        return FoundRecords(taken, number if chosen is None else number[chosen], stop, bad_bytes)

    def _marked(self, data: Bytes, size: int, final: bool, padding_from: int) -> tuple[Ints, Flags]:
        """Return the places with marks, and the places that may confirm a record ending there."""
        marks, last = self._marks, max(size - 1, 0)
        np.equal(data[:last], MARK_1, out=marks[:last])
        np.equal(data[1 : last + 1], MARK_2, out=self._second[:last])
        np.logical_and(marks[:last], self._second[:last], out=marks[:last])
        marks[last : size + ROOM] = False
        start = np.flatnonzero(marks[: max(size - MARK_BYTES, 0)])
        if final:
            marks[size] = True
            marks[last] |= size > 0 and data[last] == MARK_1
        if 0 <= padding_from <= size:
            marks[padding_from] = True
        return start, marks[: size + ROOM]

    def _formats(
        self, data: Bytes, start: Ints, kind: Bytes, followed: Flags
    ) -> list[tuple[int, int]]:
        """Return place and layout number of apparent format records."""
        seem = start[kind == FORMAT_TYPE]
        if not len(seem):
            return []
        seem = seem[followed.take(seem + FORMAT_BYTES, mode="clip")]
        records = [(at, data[at : at + FORMAT_BYTES].tobytes()) for at in seem.tolist()]
        found = [(at, self.layouts.number(record)) for at, record in records]
        return [one for one in found if one[1]]

    def _numbers(
        self, start: Ints, kind: Bytes, formats: list[tuple[int, int]]
    ) -> tuple[Ints, list[tuple[int, int]]]:
        """Return each place's layout number, and the format records that change a layout."""
        number = self.layouts.now.take(kind)
        now: dict[int, int] = {}
        changes = []
        for at, new in formats:
            changed = self._type(new)
            if now.get(changed, int(self.layouts.now[changed])) != new:
                now[changed] = new
                changes.append((at, new))
                behind = int(start.searchsorted(at)) + 1
                number[behind:][kind[behind:] == changed] = new
        return number, changes

    def _type(self, number: int) -> int:
        layout = self.layouts.all[number]
        assert layout is not None
        return layout.type


def _holds(places: Ints, at: int) -> bool:
    n = int(places.searchsorted(at))
    return n < len(places) and int(places[n]) == at


def _chosen(
    start: Ints, length: Ints, followed: Flags, size: int, final: bool
) -> tuple[Ints | None, Ints, int]:
    """Choose the records, one behind the other.

    Returns
    -------
    tuple
        The places that hold them, shape (n,), or None if all do; their ends, shape (n,); and the
        number of bytes settled.
    """
    end = start + length
    proven = followed.take(end, mode="clip")
    chosen = None
    if not proven.all():
        chosen = np.flatnonzero(proven)
        end = end.take(chosen)
    begin = start if chosen is None else start.take(chosen)
    if (begin[1:] < end[:-1]).any():
        free = _apart(begin, end)
        chosen = free if chosen is None else chosen[free]
        begin, end = begin[free], end[free]
    if final:
        return chosen, end, size
    # A record that ends too near the end of the bytes cannot be judged yet.
    near = int(start.searchsorted(size - ROOM))
    for n in range(near, len(start)):
        at, until = int(start[n]), int(start[n] + length[n])
        if until <= size - MARK_BYTES or length[n] == _NOT_KNOWN or proven[n]:
            continue
        before = int(begin.searchsorted(at))
        if before and int(end[before - 1]) > at:
            continue
        if chosen is None:
            chosen = np.arange(len(start))
        return chosen[:before], end[:before], at
    reached = int(end[-1]) if len(end) else 0
    return chosen, end, max(reached, size - MARK_BYTES, 0)


def _apart(begin: Ints, end: Ints) -> Ints:
    """Choose the records that do not begin inside another chosen one."""
    overlapping = np.flatnonzero(begin[1:] < end[:-1]) + 1
    keep = np.ones(len(begin), np.bool_)
    free = 0
    for first in overlapping.tolist():
        if first <= free:
            continue
        n, reached = first, int(end[first - 1])
        while n < len(begin) and int(begin[n]) < reached:
            keep[n] = False
            n += 1
        free = n
    return np.flatnonzero(keep)
