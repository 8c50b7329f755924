"""The file of a record: whole records are appended, and nothing else stays in it.

No thread and no clock here; a failure is returned or raised, and the caller may try again. Somebody
may rename, remove, replace or spoil the file while it is written; `displaced` detects that.
"""

import contextlib
import errno
import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from onboard.files.whole_file import FILE_MODE
from onboard.telemetry.mavlink.checksum import Ints
from onboard.telemetry.mavlink.log_scanner import LogScanner

TAIL_BYTES = 1 << 16
"""Searched for the last whole record of a spoilt file: room for many records."""

PROOF_BYTES = 512
"""The last bytes written are remembered: if they are where they were put, so is the rest."""

_FLAGS = os.O_RDWR | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK
"""Non-blocking, in case a pipe took the file's place."""


class DisplacedError(Exception):
    """The file is gone or another took its place; the text is a code, as of `displaced`."""


@dataclass(frozen=True)
class Records:
    """Records to be written.

    Parameters
    ----------
    data
        The records, one behind the other.
    ends
        Where each ends in `data`, shape (n,).
    """

    data: bytes
    ends: Ints


def joined(pieces: Sequence[Records]) -> Records:
    """Return several pieces as one."""
    begins = np.cumsum([0, *(len(piece.data) for piece in pieces[:-1])])
    ends = [piece.ends + begin for piece, begin in zip(pieces, begins, strict=True)]
    return Records(b"".join(piece.data for piece in pieces), np.concatenate(ends))


def behind(pieces: Iterable[Records], count: int) -> Iterator[Records]:
    """Return what follows the first `count` records of several pieces."""
    for piece in pieces:
        if count <= 0:
            yield piece
        elif count < len(piece.ends):
            done = int(piece.ends[count - 1])
            yield Records(piece.data[done:], piece.ends[count:] - done)
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
        """Up to here the file holds whole records."""
        self._proof = b""
        self._descriptor = os.open(path, _FLAGS | os.O_CREAT | os.O_EXCL, FILE_MODE)

    def append(self, pieces: Sequence[Records]) -> tuple[list[Records], OSError | None]:
        """Append records.

        Returns
        -------
        tuple
            The records not written, and why. A record written in part is cut off again.
        """
        records = joined(pieces)
        problem: OSError | None = None
        rest, done = memoryview(records.data), 0
        try:
            while done < len(rest):
                # At an explicit place: what a failed cut left behind is written over.
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
        # Last: if memory ran out above, all of it would be written again, in its place.
        self.whole_bytes, self._proof = self.whole_bytes + whole, proof
        if problem is not None:
            # If even that fails, `reopen` does it before anything else is written.
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, self.whole_bytes)
        return left, problem

    def displaced(self) -> str | None:
        """Return what became of the file if its name no longer leads to what was written.

        Returns
        -------
        str or None
            A code: `renamed`, `removed`, `replaced`, `cut_short`, `written_over`; None if all is
            well.

        Raises
        ------
        OSError
            If the card does not say.
        """
        ours = os.fstat(self._descriptor)
        try:
            there = self.path.lstat()
        except (FileNotFoundError, NotADirectoryError):
            return "renamed" if ours.st_nlink else "removed"
        if not os.path.samestat(there, ours):
            return "replaced"
        if self._is_whole():
            return None
        return "cut_short" if ours.st_size < self.whole_bytes else "written_over"

    @property
    def is_whole_somewhere(self) -> bool:
        """Whether what was written is whole, under whichever name."""
        try:
            return os.fstat(self._descriptor).st_nlink > 0 and self._is_whole()
        except OSError:
            return False

    def reopen(self) -> int:
        """Open the file anew by its name, and cut off what is not a whole record.

        A card that was taken out and put back holds the same file, perhaps shorter.

        Returns
        -------
        int
            Bytes of whole records that the file has lost meanwhile.

        Raises
        ------
        DisplacedError
            If it is gone, or something else is in its place.
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
            If there is none left.
        """
        return os.dup(self._descriptor)

    def close(self) -> None:
        """Close the file."""
        # A dead card's error was reported before.
        with contextlib.suppress(OSError):
            os.close(self._descriptor)
        self._descriptor = -1


def _last_end(descriptor: int, size: int) -> int:
    """Return where the last whole record ends that is found near a file's end.

    If none is found the whole file stays: what cannot be told apart is not cut off, for the reader
    finds its way past bytes that form no record.
    """
    begin = max(size - TAIL_BYTES, 0)
    data = os.pread(descriptor, size - begin, begin)
    found = LogScanner(in_step=begin == 0).push(data, final=True)
    if not len(found):
        return size
    return begin + int(found.marker[-1] + found.size[-1])
