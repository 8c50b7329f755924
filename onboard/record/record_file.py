"""The file of a record: whole records are appended, and it holds nothing else.

No thread and no clock here; a failure is returned or raised, and the caller may retry. The file may
be renamed, removed, replaced or corrupted by others while it is written; `displaced` detects that.
"""

import contextlib
import errno
import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from onboard.dataclass import dataclass
from onboard.files.whole_file import FILE_MODE
from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.log_scanner import LogScanner

TAIL_BYTES = 1 << 16
"""Bytes searched for the last whole record of a damaged file: room for many records."""

PROOF_BYTES = 512
"""Number of last bytes written that are compared: if they are in place, so is the rest."""

_FLAGS = os.O_RDWR | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK
"""Non-blocking, in case a pipe has replaced the file."""


class DisplacedError(Exception):
    """The file is gone or was replaced; the text is a code, see `RecordFile.displaced`."""


@dataclass(frozen=True)
class FileRecords:
    """Records to be written.

    Parameters
    ----------
    data
        The records, concatenated.
    ends
        End offset of each in `data`, shape (n,).
    """

    data: bytes
    ends: Ints


def joined(pieces: Sequence[FileRecords]) -> FileRecords:
    """Concatenate several pieces."""
    begins = np.cumsum([0, *(len(piece.data) for piece in pieces[:-1])])
    ends = [piece.ends + begin for piece, begin in zip(pieces, begins, strict=True)]
    return FileRecords(b"".join(piece.data for piece in pieces), np.concatenate(ends))


def behind(pieces: Iterable[FileRecords], count: int) -> Iterator[FileRecords]:
    """Yield the records behind the first `count` of several pieces."""
    for piece in pieces:
        if count <= 0:
            yield piece
        elif count < len(piece.ends):
            done = int(piece.ends[count - 1])
            yield FileRecords(piece.data[done:], piece.ends[count:] - done)
        count -= len(piece.ends)


class RecordFile:
    """One file that records are appended to.

    Parameters
    ----------
    path
        The file; it must not exist yet.

    Raises
    ------
    OSError
        If it cannot be created.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.whole_bytes = 0
        """Length up to which the file holds whole records."""
        self._proof = b""
        self._descriptor = os.open(path, _FLAGS | os.O_CREAT | os.O_EXCL, FILE_MODE)

    def append(self, pieces: Sequence[FileRecords]) -> tuple[list[FileRecords], OSError | None]:
        """Append records.

        Returns
        -------
        tuple
            The records not written, and the error. A partly written record is truncated.
        """
        records = joined(pieces)
        problem: OSError | None = None
        rest, done = memoryview(records.data), 0
        try:
            while done < len(rest):
                # At an explicit offset: remains of a failed truncation are overwritten.
                written = os.pwrite(self._descriptor, rest[done:], self.whole_bytes + done)
                if not written:
                    raise OSError(errno.EIO, "nothing was taken")
                done += written
        except OSError as failure:
            problem = failure
        count = int(records.ends.searchsorted(done, side="right"))
        whole = int(records.ends[count - 1]) if count else 0
        left = list(behind(pieces, count))
        proof = (self._proof + records.data[max(whole - PROOF_BYTES, 0) : whole])[-PROOF_BYTES:]
        # Last: if memory ran out above, all of it would be rewritten at the same offset.
        self.whole_bytes, self._proof = self.whole_bytes + whole, proof
        if problem is not None:
            # If even that fails, `reopen` does it before anything else is written.
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, self.whole_bytes)
        return left, problem

    def displaced(self) -> str | None:
        """Return the fate of the file if its name no longer leads to the bytes written.

        Returns
        -------
        str or None
            A code: `renamed`, `removed`, `replaced`, `cut_short`, `written_over`; None if the file
            is in place.

        Raises
        ------
        OSError
            If the card does not respond.
        """
        opened = os.fstat(self._descriptor)
        try:
            there = self.path.lstat()
        except (FileNotFoundError, NotADirectoryError):
            return "renamed" if opened.st_nlink else "removed"
        if not os.path.samestat(there, opened):
            return "replaced"
        if self._is_whole():
            return None
        return "cut_short" if opened.st_size < self.whole_bytes else "written_over"

    @property
    def is_whole_somewhere(self) -> bool:
        """Whether the bytes written are intact, under whatever name."""
        try:
            return os.fstat(self._descriptor).st_nlink > 0 and self._is_whole()
        except OSError:
            return False

    def reopen(self) -> int:
        """Reopen the file by its name, and truncate it to whole records.

        A card that was removed and reinserted holds the same file, perhaps shorter.

        Returns
        -------
        int
            Bytes of whole records lost meanwhile.

        Raises
        ------
        DisplacedError
            If it is gone or was replaced.
        OSError
            If it cannot be opened.
        """
        try:
            if not stat.S_ISREG(self.path.lstat().st_mode):
                raise DisplacedError("replaced")
            descriptor = os.open(self.path, _FLAGS)
        except (FileNotFoundError, NotADirectoryError):
            raise DisplacedError("removed") from None
        try:
            size = os.fstat(descriptor).st_size
            end = self.whole_bytes
            proof = os.pread(descriptor, len(self._proof), end - len(self._proof))
            if proof != self._proof:
                end = _last_end(descriptor, size)
                proof = os.pread(descriptor, PROOF_BYTES, max(end - PROOF_BYTES, 0))
            if end < size:
                os.ftruncate(descriptor, end)
        except OSError:
            os.close(descriptor)
            raise
        lost_bytes, self.whole_bytes = max(self.whole_bytes - end, 0), end
        self._proof = proof[: end if end < PROOF_BYTES else PROOF_BYTES]
        self.close()
        self._descriptor = descriptor
        return lost_bytes

    def _is_whole(self) -> bool:
        begin = self.whole_bytes - len(self._proof)
        return os.pread(self._descriptor, len(self._proof), begin) == self._proof

    def duplicate(self) -> int:
        """Return a second descriptor for syncing, which `reopen` does not disturb.

        Raises
        ------
        OSError
            If no descriptor is available.
        """
        return os.dup(self._descriptor)

    def close(self) -> None:
        """Close the file."""
        # A dead card's error was reported before.
        with contextlib.suppress(OSError):
            os.close(self._descriptor)
        self._descriptor = -1


def _last_end(descriptor: int, size: int) -> int:
    """Return the end of the last whole record found near a file's end.

    If none is found the whole file stays: ambiguous bytes are not truncated, since the reader
    resynchronises past bytes that form no record.
    """
    begin = max(size - TAIL_BYTES, 0)
    data = os.pread(descriptor, size - begin, begin)
    found = LogScanner(in_step=begin == 0).push(data, final=True)
    if not len(found):
        return size
    return begin + int(found.marker[-1] + found.size[-1])
