"""The thread that reads the link, stamps its bytes, and reconnects."""

import contextlib
import logging
import math
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from itertools import groupby

from onboard.errors import LinkEndedError, LinkError, WattwakeError
from onboard.telemetry.link.base import Link, Part, Piece, Source

log = logging.getLogger("wattwake")

WAIT_S = 0.5
"""Longest wait of a read [s]; between reads the thread checks whether to stop."""

FINE_S = 0.02
"""Interval of reads [s] while times of receipt may be the only ones there are. The daemon sets a
longer one as soon as it can: waking up costs more than reading, so bytes are taken in batches, just
before its loop wants them. Times of receipt are then as coarse."""

ROOM_BYTES, PART_BYTES = 100_000, 768
"""What the system's buffer takes safely between two reads, a quarter of Linux's usual one, and what
it counts for a small datagram on top of its bytes; at a higher rate reads follow sooner."""

BUSY_S = 0.001
"""Shortest pause between reads [s]."""

RETRY_FIRST_S, RETRY_MOST_S = 0.5, 5.0
"""First and longest wait before reopening [s]; it doubles while no bytes come."""

LATE_S, MUCH_BYTES = 0.5, 1 << 16
"""Age and amount of waiting bytes above which the thread processes them, not the daemon's loop."""

TAKEN_MOST_BYTES = 1 << 19
"""Largest number of bytes returned at once: even a small board scans this much junk in a moment."""

WAITING_MOST_BYTES = 4 << 20
"""Bound of waiting bytes: beyond it the oldest are dropped and counted, strangers' first."""


class LinkReader:
    """Read a link in a thread, and reopen it whenever it breaks.

    Parameters
    ----------
    link
        The link, already open; None opens it in the thread.
    reopen
        Opens it again.
    stamp_us
        Clock for times of receipt [us since the Unix epoch].
    """

    def __init__(
        self, link: Link | None, reopen: Callable[[], Link], stamp_us: Callable[[], int]
    ) -> None:
        self._link = link
        self._reopen = reopen
        self._stamp_us = stamp_us
        self._pieces: deque[Piece] = deque()
        self.answered: Source | None = None
        """Destination of outgoing bytes; see `answer`."""
        self.waiting_bytes = 0
        """Bytes waiting to be taken."""
        self.batch_s = FINE_S
        """Interval of reads while bytes come [s]."""
        self._read_s = -math.inf
        self._lock = threading.Lock()
        self.stopping = threading.Event()
        """Set to end the thread."""
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)
        self.retry_s = RETRY_FIRST_S
        """Wait before the next reopening of the link [s]."""
        self.dropped_bytes = 0
        self.problem: LinkError | None = None
        """Why the link is down, None while it is up."""
        self.ended = False
        self.relief: Callable[[], None] | None = None
        """Processes the waiting bytes if the loop is late; called in the thread."""
        self.received_s: float | None = None
        """Monotonic time of the last bytes [s]."""

    def start(self) -> None:
        """Start reading."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread and close the link."""
        self.stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout=2 * WAIT_S)
        else:
            self._close()

    def take(self) -> list[Piece]:
        """Return the waiting pieces in order; in a flood only the first of them."""
        pieces: list[Piece] = []
        room = TAKEN_MOST_BYTES
        with self._lock:
            while self._pieces and room > 0:
                pieces.append(self._pieces.popleft())
                room -= len(pieces[-1].data)
            self.waiting_bytes -= TAKEN_MOST_BYTES - room
        return pieces

    def answer(self, source: Source | None) -> None:
        """Send to this address from now on, where a link has several; all others are strangers.

        Parameters
        ----------
        source
            Source of the followed craft's frames; None changes nothing.
        """
        if source is not None:
            self.answered = source

    def write(self, data: bytes) -> None:
        """Send bytes if the link is up, without ever waiting; the rest is dropped."""
        link = self._link
        if not data or link is None or self.problem is not None:
            return
        # On a fault: the reading thread detects it too, and reports it.
        with contextlib.suppress(LinkError, OSError):
            link.write(data, self.answered)

    def _run(self) -> None:
        while not self.stopping.is_set():
            try:
                if self._link is None:
                    self._link = self._reopen()
                self.problem = None
                self._read_on(self._link)
            except LinkEndedError as end:
                self.problem, self.ended = end, True
                break
            except LinkError as problem:
                self.wait_after(problem)
            except WattwakeError as problem:
                self.wait_after(LinkError(str(problem)))
            except Exception as fault:  # on any fault, the link must be reopened
                log.exception("the link failed in a way that nobody foresaw")
                self.wait_after(LinkError(f"the link failed: {fault!r}"))
        self._close()

    def wait_after(self, problem: LinkError) -> None:
        """Report a problem, close the link, and wait, longer each time that no bytes came."""
        self.problem = problem
        self._close()
        self.stopping.wait(self.retry_s)
        self.retry_s = min(2 * self.retry_s, RETRY_MOST_S)

    def _read_on(self, link: Link) -> None:
        while not self.stopping.is_set():
            parts = link.read(WAIT_S)
            if parts:
                self.retry_s = RETRY_FIRST_S
                self.received_s = time.monotonic()
                count = self.put(parts)
                time.sleep(self.pause_s(count + PART_BYTES * len(parts), self.received_s))

    def pause_s(self, load_bytes: int, now_s: float) -> float:
        """Return the pause after a read [s]: up to the next multiple of the interval, or shorter.

        Parameters
        ----------
        load_bytes
            What the system's buffer had to hold for this read.
        now_s
            Monotonic time of the read [s].
        """
        since_s, self._read_s = now_s - self._read_s, now_s
        # Loops that pause up to multiples of an interval wake up together.
        usual_s = self.batch_s - now_s % self.batch_s
        return max(BUSY_S, min(usual_s, since_s * ROOM_BYTES / load_bytes))

    def put(self, parts: Sequence[Part]) -> int:
        """Stamp and queue parts; return their number of bytes."""
        stamp_us, count = self._stamp_us(), 0
        pieces: list[Piece] = []
        for source, those in groupby(parts, lambda part: part.source):
            data = b"".join(part.data for part in those)
            pieces.append(Piece(stamp_us, data, source))
            count += len(data)
        with self._lock:
            self._pieces += pieces
            self.waiting_bytes += count
            if self.waiting_bytes > WAITING_MOST_BYTES:
                self._make_room()
            late = bool(self._pieces) and (
                stamp_us - self._pieces[0].stamp_us > LATE_S * 1e6
                or self.waiting_bytes > MUCH_BYTES
            )
        if late and self.relief is not None:
            self.relief()
        return count

    def _make_room(self) -> None:
        remaining: deque[Piece] = deque()
        for piece in self._pieces:
            # Down to half, so that in a flood not every read goes through all pieces.
            if piece.source != self.answered and self.waiting_bytes > WAITING_MOST_BYTES // 2:
                self._drop(piece)
            else:
                remaining.append(piece)
        while self.waiting_bytes > WAITING_MOST_BYTES and len(remaining) > 1:
            self._drop(remaining.popleft())
        self._pieces = remaining

    def _drop(self, piece: Piece) -> None:
        self.waiting_bytes -= len(piece.data)
        self.dropped_bytes += len(piece.data)

    def _close(self) -> None:
        if self._link is not None:
            self._link.close()
            self._link = None
