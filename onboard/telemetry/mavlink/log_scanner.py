"""The scanner of a telemetry log: bytes in pieces to frames, leftover bytes carried over."""

import numpy as np

from onboard.telemetry.mavlink.checksum import Flags
from onboard.telemetry.mavlink.frames import STAMP_BYTES, Frames, with_room
from onboard.telemetry.mavlink.framing import scan


class LogScanner:
    """Find the frames in a telemetry log, each behind an eight-byte stamp.

    Parameters
    ----------
    in_step
        Whether the first byte is known to begin a record; otherwise the first frame must be one
        that can be checked.
    wanted
        Whether a message is wanted, by its id, shape (65536,); None: all are. Others are left out,
        and their broken frames may not be counted as bad bytes.
    """

    def __init__(self, *, in_step: bool = True, wanted: Flags | None = None) -> None:
        self._rest = b""
        self._in_step = in_step
        self._wanted = wanted
        self.found = 0
        """Frames found so far, wanted or not."""

    def push(self, data: bytes, *, final: bool = False) -> Frames:
        """Return the frames that the bytes complete; `final`: no more bytes will come."""
        window = with_room(self._rest, data)
        size = len(self._rest) + len(data)
        found = scan(window, size, in_step=self._in_step, final=final, wanted=self._wanted)
        self._in_step = found.in_step
        self.found += found.count
        self._rest = window[found.consumed : size].tobytes()
        stamps = np.ndarray((window.size - STAMP_BYTES + 1,), ">u8", window, strides=(1,))
        return Frames(
            window,
            found.start + STAMP_BYTES,
            found.end - found.start - STAMP_BYTES,
            stamps[found.start].astype(np.int64),
            found.word,
            found.message_id,
            found.bad_bytes,
        )
