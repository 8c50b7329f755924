"""An on-board log read in windows: one reused buffer, and the records found in it."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from onboard.dataclass import dataclass
from onboard.errors import LogError
from onboard.telemetry.logs.log_files import Progress, open_file, reading
from onboard.telemetry.logs.onboard_log.record_framing import ROOM, RecordScanner
from onboard.telemetry.logs.onboard_log.record_layouts import HEADER_BYTES, RecordLayout
from onboard.telemetry.mavlink.checksum import Bytes, Ints

WINDOW_BYTES = 1 << 20
"""Bytes read at a time: memory stays bounded, and arrays dwarf the cost of their calls."""

Rows = npt.NDArray[Any]

_STEP_BYTES = 1 << 16
_PADDING = (0x00, 0xFF)
"""Bytes of a block device where nothing was written."""


@dataclass(frozen=True)
class Window:
    """The records of one stretch of a log, valid until the next window is read.

    Parameters
    ----------
    data
        The bytes that hold them.
    start
        Offset of each record in `data`, shape (n,).
    number
        Number of its layout, shape (n,).
    layouts
        The layouts seen so far, by number.
    bad_bytes
        Number of bytes between and around these records that are part of none.
    end
        Number of bytes of the file settled so far.
    file_bytes
        Size of the file [bytes].
    """

    data: Bytes
    start: Ints
    number: Ints
    layouts: Sequence[RecordLayout | None]
    bad_bytes: int
    end: int
    file_bytes: int

    def __len__(self) -> int:
        """Return the number of records."""
        return len(self.start)

    def places(self, number: int) -> Ints:
        """Return the indices of the records of this layout, shape (m,)."""
        return np.flatnonzero(self.number == number)

    def rows(self, number: int, places: Ints) -> Rows:
        """Return records of one layout as rows of its fields, shape (m,)."""
        layout = self.layouts[number]
        assert layout is not None
        return self.bytes_at(self.start.take(places) + HEADER_BYTES, layout.fields)

    def bytes_at(self, start: Ints, stored: np.dtype[Any]) -> Rows:
        """Return the values stored with a dtype at these offsets, shape (m,)."""
        width = stored.itemsize
        if not width:
            return np.zeros(len(start), stored)
        every: Rows = np.ndarray(
            (len(self.data) - width + 1,), f"V{width}", self.data, strides=(1,)
        )
        # Indexing copies the chosen rows only; `take` would first copy all overlapping ones.
        return every[start].view(stored)

    def by_layout(self) -> Iterator[tuple[int, Ints]]:
        """Return each layout's number and the indices of its records."""
        narrow = np.uint16 if len(self.layouts) <= 1 << 16 else np.int64
        order = np.argsort(self.number.astype(narrow), kind="stable")
        ordered = self.number.take(order)
        bounds = np.flatnonzero(ordered[1:] != ordered[:-1]) + 1
        for part in np.split(order, bounds) if len(order) else []:
            yield int(self.number[part[0]]), part


def windows(
    path: Path,
    window_bytes: int = WINDOW_BYTES,
    *,
    progress: Progress | None = None,
) -> Iterator[Window]:
    """Return the records of an on-board log, window by window.

    Parameters
    ----------
    path
        The log.
    window_bytes
        Bytes to read at a time; the records do not depend on it.
    progress
        Called after each window with the bytes read so far.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no record.
    """
    with reading(path), open_file(path, buffering=0) as file:
        yield from _windows(path, file, window_bytes, progress)


def _windows(
    path: Path, file: Any, window_bytes: int, progress: Progress | None
) -> Iterator[Window]:
    file_bytes = file.seek(0, 2)
    if not file_bytes:
        raise LogError(f"{path}: the file is empty: expected an on-board log")
    padding_from = _padding_from(file, file_bytes)
    file.seek(0)
    window_bytes = min(window_bytes, file_bytes)
    capacity = window_bytes + ROOM
    scanner = RecordScanner(capacity)
    data = np.zeros(capacity + ROOM, np.uint8)
    into = data.data
    carried = done = 0
    empty = True
    while True:
        read = file.readinto(into[carried : carried + window_bytes])
        size = carried + read
        found = scanner.scan(data, size, final=not read, padding_from=padding_from - done)
        empty &= not len(found.start)
        done += found.consumed
        yield Window(
            data, found.start, found.number, scanner.layouts.all, found.bad_bytes, done, file_bytes
        )
        if progress is not None:
            progress(getattr(file, "packed_bytes", done))
        if not read:
            break
        carried = size - found.consumed
        data[:carried] = data[found.consumed : size].copy()
    if empty:
        raise LogError(f"{path}: no record in it: expected an on-board log")


def _padding_from(file: BinaryIO, file_bytes: int) -> int:
    """Return the offset of the padding at the end of a file; the file's size if it has none."""
    known: int | None = getattr(file, "padding_from", None)
    if known is not None:  # an archive, which cannot be read backwards
        return known
    end, pad = file_bytes, None
    while end:
        begin = max(end - _STEP_BYTES, 0)
        file.seek(begin)
        step = np.frombuffer(file.read(end - begin), np.uint8)
        if pad is None:
            if step[-1] not in _PADDING:
                return file_bytes
            pad = step[-1]
        other = np.flatnonzero(step != pad)
        if len(other):
            return begin + int(other[-1]) + 1
        end = begin
    return 0
