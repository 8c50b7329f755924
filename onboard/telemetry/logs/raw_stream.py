"""Raw MAVLink streams: the bytes of a link as they came, without stamps of receipt.

The only time in such a stream is what its messages state. The frames get stamps made from the boot
clock of one sender: each has the time of the newest stamped message up to it, zero at the first. So
everything behind it works as with a telemetry log, and the decoder times each message by its own
boot clock and order. How long the autopilot was off at a restart is not recorded.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from onboard.errors import LogError
from onboard.telemetry.logs.log_files import LogFacts, Progress
from onboard.telemetry.logs.sent_clock import SentClock
from onboard.telemetry.logs.telemetry_log import TelemetryLog, read_log
from onboard.telemetry.mavlink import headers
from onboard.telemetry.mavlink.checksum import Flags
from onboard.telemetry.mavlink.frames import STAMP_BYTES, Frames, with_room

NO_CLOCK = (
    "{}: a raw MAVLink stream of {} frames without a clock: no message in it states a time since "
    "boot (time_boot_ms, time_usec)"
)

_WALK_BYTES = 1 << 16
"""Bytes to walk through at a time: a list of Python numbers holds what is found."""


def looks_like_raw_stream(head: bytes) -> bool:
    """Return whether a file that begins with these bytes holds frames without stamps.

    Examples
    --------
    >>> looks_like_raw_stream(b"no log")
    False
    """
    if len(head) > STAMP_BYTES and head[0] == 0 and head[STAMP_BYTES] in _MARKERS:
        return False  # a stamp, whose top byte is zero until the year 4253
    found = _walked(head, in_step=False)[0]
    begin, end = found[0::4], found[1::4]
    gaps = [after - before for before, after in zip(end, begin[1:], strict=False)]
    alone = len(begin) == 1 and begin[0] < STAMP_BYTES
    return alone or gaps.count(0) > gaps.count(STAMP_BYTES)


_MARKERS = (headers.MARKER_1, headers.MARKER_2)


def _walked(data: bytes, *, in_step: bool) -> tuple[list[int], int, bool, bool]:
    # Imported here: other formats do without it.
    from onboard.telemetry.mavlink.link_walk import walk

    return walk(data, in_step)


class RawScanner:
    """Find the frames in a raw stream, and stamp them; see `log_scanner.LogScanner`."""

    def __init__(self, *, wanted: Flags | None = None) -> None:
        self._rest = b""
        # The stream may begin in mid-frame.
        self._in_step = False
        self._wanted = wanted
        self._clock = SentClock()
        self.found = 0
        """Frames found so far, wanted or not."""

    @property
    def timed(self) -> bool:
        """Whether a clock has been found."""
        return self._clock.found

    def push(self, data: bytes, *, final: bool = False) -> Frames:
        """Return the frames that the bytes complete; `final`: no more bytes will come."""
        whole = self._rest + data
        found, at = self._walk_through(whole, final=final)
        self._rest = whole[at:]
        columns = np.array(found, np.int64).reshape(-1, 4).T
        marker, end, word, message_id = columns
        frames = Frames(
            with_room(whole),
            marker,
            end - marker,
            np.zeros(len(marker), np.int64),
            headers.as_version_2(word),
            message_id,
            at - int((end - marker).sum()),
        )
        self.found += len(frames)
        stamped = replace(frames, stamp_us=self._clock.stamps_us(frames, final=final))
        if self._wanted is None:
            return stamped
        mine = stamped.where(self._wanted.take(frames.message_id, mode="clip"))
        return replace(mine, bad_bytes=frames.bad_bytes)

    def _walk_through(self, whole: bytes, *, final: bool) -> tuple[list[int], int]:
        """Return the frames as in `link_walk.walk`, and the number of bytes settled."""
        found: list[int] = []
        at, size = 0, len(whole)
        while at < size:
            until = min(at + _WALK_BYTES, size)
            step, passed, self._in_step, _ = _walked(whole[at:until], in_step=self._in_step)
            if at:
                step[0::4] = [one + at for one in step[0::4]]
                step[1::4] = [one + at for one in step[1::4]]
            found += step
            if not passed and until == size:
                if not final:
                    break
                # What seemed to begin here never ended: what it hides may be whole.
                passed, self._in_step = 1, False
            at += passed
        return found, at


class RawStream(TelemetryLog):
    """A whole raw stream; see `formats.SavedLog`."""

    format = "raw"

    def _frames(self, progress: Progress | None) -> Iterator[Frames]:
        scanner = RawScanner()
        yield from read_log(self.path, scanner=scanner, progress=progress)
        if not scanner.timed:
            raise LogError(NO_CLOCK.format(self.path, scanner.found))

    def facts(self) -> LogFacts:
        """Return the facts of the parts read so far; only messages may state a date."""
        return replace(super().facts(), first_s=None)

    def length_s(self) -> float:
        """Return the duration of the log [s]; reads all of it."""
        for _ in self.parts():
            pass
        return self.duration_s
