"""The thread that reads the link: bytes with their time of receipt, and reconnecting."""

import contextlib
import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from itertools import groupby

from onboard.errors import LinkEndedError, LinkError, WattwakeError
from onboard.telemetry.link.base import Link, Part, Piece, Source

log = logging.getLogger("wattwake")

WAIT_S = 0.5
"""How long a read may wait before the thread looks whether it should stop."""

BATCH_S = 0.02
"""Rest between reads: waking up costs more than reading, so bytes are taken in batches."""

BUSY_BYTES, BUSY_PARTS = 1 << 14, 32
BUSY_S = 0.001
"""The rest after a read that gave so much: at such a rate the system's buffer is soon full, and it
drops whatever comes then."""

RETRY_FIRST_S, RETRY_MOST_S = 0.5, 5.0

LATE_S, MUCH_BYTES = 0.5, 1 << 16
"""What the daemon's loop has not taken by then, or more than this at once, the thread takes in."""

TAKEN_MOST_BYTES = 1 << 19
"""No more is given out at once: even a small board scans this much junk in a moment."""

HELD_MOST_BYTES = 4 << 20
"""With more, the oldest bytes are dropped and counted: those of strangers first."""


class LinkReader:
    """Reads a link in a thread of its own, and opens it again whenever it breaks.

    Parameters
    ----------
    link
        The link, already open; None opens it in the thread.
    reopen
        Opens it anew.
    stamp_us
        The clock for times of receipt [us since the Unix epoch].
    """

    def __init__(
        self, link: Link | None, reopen: Callable[[], Link], stamp_us: Callable[[], int]
    ) -> None:
        self._link = link
        self._reopen = reopen
        self._stamp_us = stamp_us
        self._pieces: deque[Piece] = deque()
        self.answered: Source | None = None
        """Where what is sent goes to; see `answer`."""
        self.held_bytes = 0
        """How many bytes wait to be taken."""
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)
        self._retry_s = RETRY_FIRST_S
        self.dropped_bytes = 0
        self.problem: LinkError | None = None
        """Why the link is down, None while it is up."""
        self.ended = False
        self.relief: Callable[[], None] | None = None
        """Takes in what has come where the loop is late; called in the thread."""
        self.heard_s: float | None = None
        """Monotonic time at which the last bytes came [s]."""

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread and close the link."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=2 * WAIT_S)
        else:
            self._close()

    def take(self) -> list[Piece]:
        """Return what has come since the last call, in order; in a flood only the first part."""
        pieces: list[Piece] = []
        room = TAKEN_MOST_BYTES
        with self._lock:
            while self._pieces and room > 0:
                pieces.append(self._pieces.popleft())
                room -= len(pieces[-1].data)
            self.held_bytes -= TAKEN_MOST_BYTES - room
        return pieces

    def answer(self, source: Source | None) -> None:
        """Send to this address from now on, where a link has several; all others are strangers.

        Parameters
        ----------
        source
            Where the followed craft was heard from; None changes nothing.
        """
        if source is not None:
            self.answered = source

    def write(self, data: bytes) -> None:
        """Send bytes if the link is up; what cannot be sent now is let go, never waited for."""
        link = self._link
        if not data or link is None or self.problem is not None:
            return
        # Whatever is wrong, the thread that reads finds it too, and says it.
        with contextlib.suppress(LinkError, OSError):
            link.write(data, self.answered)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                if self._link is None:
                    self._link = self._reopen()
                self.problem = None
                self._read_on(self._link)
            except LinkEndedError as end:
                self.problem, self.ended = end, True
                break
            except LinkError as problem:
                self._wait_after(problem)
            except WattwakeError as problem:
                self._wait_after(LinkError(str(problem)))
            except Exception as fault:  # whatever it is, the craft must not go deaf over it
                log.exception("the link failed in a way that nobody foresaw")
                self._wait_after(LinkError(f"the link failed: {fault!r}"))
        self._close()

    def _wait_after(self, problem: LinkError) -> None:
        """Say what is wrong, let go of the link, and wait longer each time that nothing came."""
        self.problem = problem
        self._close()
        self._stop.wait(self._retry_s)
        self._retry_s = min(2 * self._retry_s, RETRY_MOST_S)

    def _read_on(self, link: Link) -> None:
        while not self._stop.is_set():
            parts = link.read(WAIT_S)
            if parts:
                self._retry_s = RETRY_FIRST_S
                self.heard_s = time.monotonic()
                got = self._keep(parts)
                busy = got >= BUSY_BYTES or len(parts) >= BUSY_PARTS
                time.sleep(BUSY_S if busy else BATCH_S)

    def _keep(self, parts: Sequence[Part]) -> int:
        """Hold what a read gave until it is taken; give how many bytes that is."""
        stamp_us, got = self._stamp_us(), 0
        pieces: list[Piece] = []
        for source, those in groupby(parts, lambda part: part.source):
            data = b"".join(part.data for part in those)
            pieces.append(Piece(stamp_us, data, source))
            got += len(data)
        with self._lock:
            self._pieces += pieces
            self.held_bytes += got
            if self.held_bytes > HELD_MOST_BYTES:
                self._make_room()
            late = bool(self._pieces) and (
                stamp_us - self._pieces[0].stamp_us > LATE_S * 1e6 or self.held_bytes > MUCH_BYTES
            )
        if late and self.relief is not None:
            self.relief()
        return got

    def _make_room(self) -> None:
        kept: deque[Piece] = deque()
        for piece in self._pieces:
            # More than need be, so that not every read in a flood has to look through all.
            if piece.source != self.answered and self.held_bytes > HELD_MOST_BYTES // 2:
                self._drop(piece)
            else:
                kept.append(piece)
        while self.held_bytes > HELD_MOST_BYTES and len(kept) > 1:
            self._drop(kept.popleft())
        self._pieces = kept

    def _drop(self, piece: Piece) -> None:
        self.held_bytes -= len(piece.data)
        self.dropped_bytes += len(piece.data)

    def _close(self) -> None:
        if self._link is not None:
            self._link.close()
            self._link = None
