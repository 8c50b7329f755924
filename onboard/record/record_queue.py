"""Records waiting for the card: a bounded queue that drops the oldest when full."""

from collections import deque
from collections.abc import Iterable

from onboard.record.record_file import FileRecords

QUEUE_MOST_BYTES = 2 << 20
"""Two minutes of a busy link (13 kB/s); older records are dropped and counted."""

PIECE_BYTES = 512
"""Overhead of a queued piece, rounded up, so that many small ones are bounded too."""


class RecordQueue:
    """Pieces of records, oldest first. No lock: the recorder has one."""

    def __init__(self) -> None:
        self.size_bytes = 0
        """Size including the pieces' overhead."""
        self.lost_frames = 0
        """Frames dropped because the card did not take them."""
        self._pieces: deque[FileRecords] = deque()

    def __len__(self) -> int:
        """Return the number of pieces queued."""
        return len(self._pieces)

    def put(self, records: FileRecords) -> None:
        """Append a piece."""
        self._pieces.append(records)
        self._grow([records])

    def put_back(self, pieces: list[FileRecords]) -> None:
        """Put pieces that were not written back to the front."""
        self._pieces.extendleft(reversed(pieces))
        self._grow(pieces)

    def take_all(self) -> list[FileRecords]:
        """Remove and return all pieces."""
        pieces = list(self._pieces)
        self._pieces.clear()
        self.size_bytes = 0
        return pieces

    def drop_all(self) -> None:
        """Drop and count all pieces."""
        self.lost_frames += sum(len(piece.ends) for piece in self.take_all())

    def _grow(self, pieces: Iterable[FileRecords]) -> None:
        self.size_bytes += sum(len(piece.data) + PIECE_BYTES for piece in pieces)
        while self.size_bytes > QUEUE_MOST_BYTES and len(self._pieces) > 1:
            dropped = self._pieces.popleft()
            self.size_bytes -= len(dropped.data) + PIECE_BYTES
            self.lost_frames += len(dropped.ends)
