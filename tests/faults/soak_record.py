"""The soak's own reader of records, which compares them with what was sent."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.soak_junk import OTHER, Flood, may_hold
from tests.faults.soak_stream import Sent

STAMP_BYTES = 8

TAKEN = "taken"

NEAR_S = 60.0
"""Limit on the duration of floods and of an autopilot's silence [s]."""


def frames_of(data: bytes) -> Iterator[tuple[bytes | None, bytes]]:
    """Yield stamp and frame of each record; for bytes that form none, None and the bytes.

    A record is eight bytes of microseconds, big-endian, then the frame: 0xFD, length, flags ... or
    0xFE.
    """
    at = 0
    while at < len(data):
        end = _end(data, at)
        # A frame that nothing sound follows does not count: bytes were lost or added.
        if end is None or (end < len(data) and _end(data, end) is None and not _cut(data, end)):
            skipped = at
            at += 1
            while at < len(data) and not ((end := _end(data, at)) and _end(data, end)):
                at += 1
            yield None, data[skipped:at]
            continue
        yield data[at : at + STAMP_BYTES], data[at + STAMP_BYTES : end]
        at = end


def _end(data: bytes, at: int) -> int | None:
    mark = at + STAMP_BYTES
    if mark + 3 > len(data) or data[at : at + 2] > b"\x00\x10":
        return None
    if data[mark] == 0xFD:
        end = mark + 12 + data[mark + 1] + (13 if data[mark + 2] & 1 else 0)
    elif data[mark] == 0xFE:
        end = mark + 8 + data[mark + 1]
    else:
        return None
    return end if end <= len(data) else None


def _cut(data: bytes, at: int) -> bool:
    """Return whether the file ends within a record that was being written."""
    return len(data) - at < STAMP_BYTES + 280 + 13


@dataclass
class RecordContents:
    """The contents of a file."""

    path: Path
    first: int | None = None
    last: int = -1
    frames: int = 0
    others: int = 0
    unknown: list[bytes] = field(default_factory=list)
    """Frames that were never sent."""
    junk: list[bytes] = field(default_factory=list)
    bad_bytes: int = 0
    torn_bytes: int = 0
    """Bytes of an incomplete last record."""
    disorder: int = 0
    stamps_back: int = 0


class Ledger:
    """Tracks which of the frames sent are in a record.

    Parameters
    ----------
    sent
        The frames sent; may grow.
    floods
        Floods of junk and of other systems' frames.
    """

    def __init__(self, sent: Sent, floods: Sequence[Flood]) -> None:
        self._sent, self._floods = sent, floods
        self._places: dict[bytes, list[int]] = {}
        self._known = 0
        self.recorded: set[int] = set()
        self.swallowed: list[bytes] = []

    def read(self, path: Path) -> RecordContents:
        """Read a file; its frames must be in the order of sending."""
        self._learn()
        found = RecordContents(path)
        data = path.read_bytes()
        stamp_before, passed = b"", 0
        for stamp, frame in frames_of(data):
            passed += len(frame) + (STAMP_BYTES if stamp is not None else 0)
            if stamp is None:
                torn = passed == len(data) and len(frame) < STAMP_BYTES + 280 + 13
                found.bad_bytes += 0 if torn else len(frame)
                found.torn_bytes += len(frame) if torn else 0
                continue
            found.frames += 1
            found.stamps_back += stamp < stamp_before
            stamp_before = stamp
            places = self._places.get(frame)
            if places is None:
                self._not_ours(frame, found)
                continue
            later = bisect_right(places, found.last)
            if later == len(places):
                found.disorder += 1
                continue
            found.last = places[later]
            self.recorded.add(found.last)
            if found.first is None:
                found.first = found.last
        return found

    def _learn(self) -> None:
        total = len(self._sent.tick)
        for n in range(self._known, total):
            self._places.setdefault(self._sent.data[n], []).append(n)
        self._known = total

    def _floods_near(self, found: RecordContents) -> Iterator[Flood]:
        """Yield the floods near the place up to which a file has been read."""
        at_s = self._sent.at_s[found.last] if found.last >= 0 else None
        for flood in self._floods:
            if at_s is None or flood[3] - NEAR_S <= at_s <= flood[3] + NEAR_S:
                yield flood

    def _not_ours(self, frame: bytes, found: RecordContents) -> None:
        if OTHER in (frame[5:6] + frame[3:4]):
            found.others += 1
        elif any(may_hold(*flood[:3], frame) for flood in self._floods_near(found)):
            found.junk.append(frame)
            self.swallowed.append(frame)
        else:
            found.unknown.append(frame)


def taken_files(folder: Path) -> list[Path]:
    """Return the copies made just before a record was removed or cut off."""
    return sorted((folder / TAKEN).glob("*.tlog"))


def record_files(record: Path) -> list[Path]:
    """Return every file that may be a record, also one put back under another name."""
    return sorted(
        path for path in record.glob("*/*tlog*") if path.is_file() and not path.is_symlink()
    )
