"""Scanners: bytes in pieces to frames, what is left of one piece carried over to the next."""

from collections.abc import Sequence

import numpy as np

from onboard.telemetry.checksum import Bytes, Ints
from onboard.telemetry.frames import STAMP_BYTES, Frames, with_room
from onboard.telemetry.framing import FIRST_MARKER, Found, scan


class LogScanner:
    """Finds the frames in a telemetry log: an eight-byte stamp in front of each.

    Parameters
    ----------
    in_step
        Whether the first byte is known to begin a record; else the first frame must prove itself.
    """

    def __init__(self, *, in_step: bool = True) -> None:
        self._rest = b""
        self._in_step = in_step

    def push(self, data: bytes, *, final: bool = False) -> Frames:
        """Give the frames that the bytes complete; `final` says that no more will come."""
        window = with_room(self._rest, data)
        size = len(self._rest) + len(data)
        found = scan(window, size, prefix=STAMP_BYTES, in_step=self._in_step, final=final)
        self._in_step = found.in_step
        self._rest = window[found.consumed : size].tobytes()
        stamps = np.ndarray((window.size - STAMP_BYTES + 1,), ">u8", window, strides=(1,))
        stamp_us = stamps[found.start].astype(np.int64)
        return _frames(window, found, STAMP_BYTES, stamp_us)


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
        window = with_room(self._rest, *(piece for _, piece in pieces))
        ends = len(self._rest) + np.cumsum([len(piece) for _, piece in pieces], dtype=np.int64)
        size = int(ends[-1]) if len(ends) else len(self._rest)
        found = scan(window, size, prefix=0, in_step=self._in_step, final=False)
        self._in_step = found.in_step
        self._rest = window[found.consumed : size].tobytes()
        received = np.array([stamp for stamp, _ in pieces] or [0], np.int64)
        stamp_us = received.take(np.searchsorted(ends, found.end), mode="clip")
        return _frames(window, found, 0, stamp_us)


def _frames(window: Bytes, found: Found, prefix: int, stamp_us: Ints) -> Frames:
    marker = found.start + prefix
    version_1 = window.take(marker) != FIRST_MARKER

    def header(at_2: int, at_1: int) -> Ints:
        return window.take(marker + np.where(version_1, at_1, at_2)).astype(np.int64)

    message_id = header(7, 5)
    message_id += np.where(version_1, 0, header(8, 5) << 8 | header(9, 5) << 16)
    return Frames(
        window,
        marker,
        found.end - marker,
        stamp_us,
        message_id,
        header(5, 3),
        header(6, 4),
        header(4, 2),
        found.bad_bytes,
    )
