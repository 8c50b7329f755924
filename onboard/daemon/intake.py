"""Intake: what the link gives is on its way to the card before anything else looks at it.

The daemon's loop takes it in five times a second. Where the loop is late, or much has come in, the
thread that reads does it: so recording goes on whatever the figures do, and no flood piles up.
"""

import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np

from onboard.record.subscriber import Faults
from onboard.telemetry.link.base import Piece
from onboard.telemetry.link.link_reader import LinkReader
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.signing import SETUP_SIGNING, SignatureGate

Write = Callable[[Frames, int], None]
"""Takes frames for the record, and the time [us]; it does not wait for the card."""

HELD_MOST_FRAMES = 100_000
"""Frames that wait for the figures: five minutes of a busy link. Beyond that they are dropped, and
the figures are worked out from the record."""

MOVED_AFTER_S, MOVED_AFTER_FRAMES = 2.0, 5
"""A craft heard from elsewhere is answered there after so many frames, and so long a silence at the
address before: a frame or two that pass their checksum by chance in a flood move nothing."""

TURN_MOST_FRAMES = 5_000
"""Frames given to the figures in one turn: a burst must not hold up feed and signals."""


class Intake:
    """Takes in what a link gives.

    Parameters
    ----------
    reader
        Reads the link.
    gate
        Lets frames through.
    now_us
        The clock of receipt [us].
    """

    def __init__(self, reader: LinkReader, gate: SignatureGate, now_us: Callable[[], int]) -> None:
        self._reader = reader
        self._gate = gate
        self._now_us = now_us
        self._scanner = LinkScanner()
        self._lock = threading.RLock()
        self._write: Write | None = None
        self._unrecorded: deque[Frames] | None = deque()
        self._held: deque[Frames] = deque()
        self._held_frames = 0
        self._failed: Frames | None = None
        """What the recorder failed at just now."""
        self.scan_faults = Faults("the scanner of the link")
        self.record_faults = Faults("the recorder")
        self._fault: BaseException | None = None
        self.followed: tuple[int, int | None] | None = None
        """System and component of the craft that is answered; None before one is chosen."""
        self._elsewhere = 0
        """Frames that look like the craft's from elsewhere, since it was last heard there."""
        self._answered_us = 0
        """When the craft was last heard from where it is answered [us]."""
        self.fell_behind = False
        """Whether frames were dropped before the figures saw them."""

    def record_to(self, write: Write | None) -> None:
        """Record from now on, and what has come in before too; None: keep no record."""
        with self._lock:
            self._write = write
            waiting, self._unrecorded = self._unrecorded or deque(), None
            for frames in waiting:
                self._record(frames)

    def advance(self) -> None:
        """Take in what has come up to now. Any thread may call it; it raises nothing."""
        with self._lock:
            try:
                frames = self._scanned(self._reader.take())
                if frames is not None:
                    self._record(frames)
                    self._hold(frames)
            except Exception as fault:  # for the loop: noted, or raised if strict, by `turn`
                self._fault = fault

    def turn(self) -> list[Frames]:
        """Take in what has come, and give what the figures get next, in order."""
        with self._lock:
            self.advance()
            fault, self._fault = self._fault, None
            if fault is not None:
                self.scan_faults.note(fault)
            return self._next(TURN_MOST_FRAMES)

    @contextmanager
    def at_rest(self) -> Iterator[list[Frames]]:
        """Yield what waits for the figures; nothing is taken in or recorded in the block."""
        with self._lock:
            self.advance()
            yield self._next(HELD_MOST_FRAMES)

    def _next(self, most: int) -> list[Frames]:
        parts: list[Frames] = []
        while self._held and (not parts or most >= len(self._held[0])):
            parts.append(self._held.popleft())
            most -= len(parts[-1])
            self._held_frames -= len(parts[-1])
        return parts

    def _scanned(self, pieces: list[Piece]) -> Frames | None:
        """Return the frames that may be used; a lasting fault costs what it came with, and no more.

        A passing one costs less: what came is scanned once more from its beginning.
        """
        frames = None
        for _ in range(2):
            try:
                frames = self._gate.push(self._scanner.push(pieces, self._reader.answered))
                break
            except Exception as fault:
                self._scanner = LinkScanner()
                self.scan_faults.note(fault)
        if frames is not None:
            try:
                self._answer(frames)
            except Exception as fault:
                self.scan_faults.note(fault)
        return frames

    def _answer(self, frames: Frames) -> None:
        """Send to where the followed craft was heard, whoever else sends what looks like it."""
        if self.followed is None:
            return
        system, component = self.followed
        mine = frames.where((frames.system_id == system) & (frames.component_id == component))
        if not len(mine):
            return
        source, now_us = self._scanner.source(mine), int(mine.stamp_us[-1])
        answered = self._reader.answered
        own = source == answered or any(
            self._scanner.source(mine.where(np.array([n]))) == answered for n in range(len(mine))
        )
        self._elsewhere = 0 if own else self._elsewhere + len(mine)
        silent_s = (now_us - self._answered_us) * 1e-6
        moved = silent_s > MOVED_AFTER_S and self._elsewhere >= MOVED_AFTER_FRAMES
        if own or answered is None or moved:
            self._answered_us = now_us
        if answered is None or moved:
            self._reader.answer(source)

    def _record(self, frames: Frames) -> None:
        if self._unrecorded is not None:
            self._unrecorded.append(frames)
        elif self._write is not None:
            # What it failed at is tried once more, before what came since.
            failed, self._failed = self._failed, None
            for part in (frames,) if failed is None else (failed, frames):
                try:
                    self._write(_for_the_record(part), self._now_us())
                except Exception as fault:
                    self._failed = part if part is frames and len(part) else None
                    self.record_faults.note(fault)

    def _hold(self, frames: Frames) -> None:
        if not len(frames) and not frames.bad_bytes:
            return
        self._held.append(frames)
        self._held_frames += len(frames)
        while self._held_frames > HELD_MOST_FRAMES and len(self._held) > 1:
            self._held_frames -= len(self._held.popleft())
            self.fell_behind = True


def _for_the_record(frames: Frames) -> Frames:
    """Leave out the message that carries a signing key: it belongs in no record."""
    carries_key = frames.message_id == SETUP_SIGNING
    return frames.where(~carries_key) if carries_key.any() else frames
