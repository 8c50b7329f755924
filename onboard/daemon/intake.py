"""Intake: everything received on the link is recorded first, then queued for the figures.

The daemon's loop calls it five times a second. If the loop is late, or much has arrived, the
reading thread calls it: recording continues whatever the figures do, and no backlog builds up.
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
from onboard.telemetry.mavlink import headers
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.signing import SETUP_SIGNING, SignatureGate

Write = Callable[[Frames, int], None]
"""Takes frames for the record and the time [us]; does not wait for the card."""

QUEUED_MOST_FRAMES = 100_000
"""Frames queued for the figures: five minutes of a busy link. Beyond that they are dropped, and the
figures are folded again from the record."""

MOVED_AFTER_S, MOVED_AFTER_FRAMES = 2.0, 5
"""Answer a craft at a new address after this many frames from there and this silence at the old
one [s]: a frame or two that pass their checksum by chance in a flood have no effect."""

TURN_MOST_FRAMES = 5_000
"""Frames handed to the figures in one tick: a burst must not delay feed and signals."""


class Intake:
    """Scan, record and queue the data of a link.

    Parameters
    ----------
    reader
        Reads the link.
    gate
        Passes frames with valid signatures.
    now_us
        Clock of receipt [us].
    """

    def __init__(self, reader: LinkReader, gate: SignatureGate, now_us: Callable[[], int]) -> None:
        self._reader = reader
        self._gate = gate
        self._now_us = now_us
        self._scanner = LinkScanner()
        self._lock = threading.RLock()
        self._write: Write | None = None
        self._unrecorded: deque[Frames] | None = deque()
        self._queue: deque[Frames] = deque()
        self._queued_frames = 0
        self._failed: Frames | None = None
        """Frames whose recording failed in the last call."""
        self.scan_faults = Faults("the scanner of the link")
        self.record_faults = Faults("the recorder")
        self._fault: BaseException | None = None
        self.followed: tuple[int, int | None] | None = None
        """System and component of the craft to answer; None before one is chosen."""
        self._elsewhere = 0
        """Frames in the craft's name from another address since the last from its own."""
        self._answered_us = 0
        """Time of the last frame from the craft's own address [us]."""
        self.fell_behind = False
        """Whether frames were dropped before the figures got them."""

    def record_to(self, write: Write | None) -> None:
        """Record from now on, including all that arrived before; None keeps no record."""
        with self._lock:
            self._write = write
            waiting, self._unrecorded = self._unrecorded or deque(), None
            for frames in waiting:
                self._record(frames)

    def advance(self) -> None:
        """Scan, record and queue the bytes received. Thread-safe; raises nothing."""
        with self._lock:
            try:
                frames = self._scanned(self._reader.take())
                if frames is not None:
                    self._record(frames)
                    self._enqueue(frames)
            except Exception as fault:  # for `turn` to count, or to raise if strict
                self._fault = fault

    def turn(self) -> list[Frames]:
        """Advance, and return the next frames for the figures, in order."""
        with self._lock:
            self.advance()
            fault, self._fault = self._fault, None
            if fault is not None:
                self.scan_faults.note(fault)
            return self._next(TURN_MOST_FRAMES)

    @contextmanager
    def at_rest(self) -> Iterator[list[Frames]]:
        """Yield all queued frames; scanning and recording pause within the block."""
        with self._lock:
            self.advance()
            yield self._next(QUEUED_MOST_FRAMES)

    def _next(self, most: int) -> list[Frames]:
        parts: list[Frames] = []
        while self._queue and (not parts or most >= len(self._queue[0])):
            parts.append(self._queue.popleft())
            most -= len(parts[-1])
            self._queued_frames -= len(parts[-1])
        return parts

    def _scanned(self, pieces: list[Piece]) -> Frames | None:
        """Return the valid frames; a fault costs no more than the present bytes.

        First they are scanned once more from the start: a transient fault costs less.
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
                self._answer(frames, pieces)
            except Exception as fault:
                self.scan_faults.note(fault)
        return frames

    def _answer(self, frames: Frames, pieces: list[Piece]) -> None:
        """Answer the followed craft at its own address, despite other senders in its name."""
        if self.followed is None:
            return
        system, component = self.followed
        answered = self._reader.answered
        if answered is not None and all(piece.source == answered for piece in pieces):
            # The usual case, and no place for arrays.
            if sent_by(frames, system, component):
                self._elsewhere, self._answered_us = 0, int(frames.stamp_us[-1])
            return
        mine = frames.where((frames.system_id == system) & (frames.component_id == component))
        if not len(mine):
            return
        source, now_us = self._scanner.source(mine), int(mine.stamp_us[-1])
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
            # Retry frames that failed last time before newer ones.
            failed, self._failed = self._failed, None
            for part in (frames,) if failed is None else (failed, frames):
                try:
                    self._write(_for_the_record(part), self._now_us())
                except Exception as fault:
                    self._failed = part if part is frames and len(part) else None
                    self.record_faults.note(fault)

    def _enqueue(self, frames: Frames) -> None:
        if not len(frames) and not frames.bad_bytes:
            return
        self._queue.append(frames)
        self._queued_frames += len(frames)
        while self._queued_frames > QUEUED_MOST_FRAMES and len(self._queue) > 1:
            self._queued_frames -= len(self._queue.popleft())
            self.fell_behind = True


def sent_by(frames: Frames, system: int, component: int | None) -> bool:
    """Return whether any of a few frames was sent by a craft."""
    if component is None:
        return False
    sender = system | component << 8
    return any(headers.senders(word) == sender for word in frames.word.tolist())


def _for_the_record(frames: Frames) -> Frames:
    """Drop the message that carries a signing key: it must not be recorded."""
    carries_key = frames.message_id == SETUP_SIGNING
    return frames.where(~carries_key) if carries_key.any() else frames
