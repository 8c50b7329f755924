"""The thread that reads the link: bytes with their time of receipt, and reconnecting."""

import contextlib
import logging
import threading
import time
from collections import deque
from collections.abc import Callable

from onboard.errors import LinkEndedError, LinkError, WattwakeError
from onboard.telemetry.links.base import Link

log = logging.getLogger("wattwake")

WAIT_S = 0.5
"""How long a read may wait before the thread looks whether it should stop."""

BATCH_S = 0.02
"""Rest between reads: waking up costs more than reading, so bytes are taken in batches."""

RETRY_FIRST_S, RETRY_MOST_S = 0.5, 5.0

LATE_S, MUCH_BYTES = 0.5, 1 << 16
"""What the daemon's loop has not taken by then, or so much at once, is taken in by the thread."""

HELD_MOST_BYTES = 8 << 20
"""If the daemon does not take them for that long, the oldest bytes are dropped and counted."""


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
        self._pieces: deque[tuple[int, bytes]] = deque()
        self._held = 0
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="link", daemon=True)
        self._retry_s = RETRY_FIRST_S
        self.dropped_bytes = 0
        self.problem: str | None = None
        """Why the link is down, None while it is up."""
        self.ended = False
        self.relief: Callable[[], None] | None = None
        """Takes what came, where the loop is late; called in the thread."""
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

    def take(self) -> list[tuple[int, bytes]]:
        """Give what came since the last call: times of receipt [us] and bytes."""
        with self._lock:
            pieces = list(self._pieces)
            self._pieces.clear()
            self._held = 0
        return pieces

    def write(self, data: bytes) -> None:
        """Send bytes if the link is up; what cannot be sent now is let go, never waited for."""
        link = self._link
        if not data or link is None or self.problem is not None:
            return
        # Whatever is wrong, the thread that reads finds it too, and says it.
        with contextlib.suppress(LinkError, OSError):
            link.write(data)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                if self._link is None:
                    self._link = self._reopen()
                self.problem = None
                self._read_on(self._link)
            except LinkEndedError as end:
                self.problem, self.ended = str(end), True
                break
            except WattwakeError as problem:
                self._wait_after(str(problem))
            except Exception as fault:  # whatever it is, the craft must not go deaf over it
                log.exception("the link failed in a way that nobody foresaw")
                self._wait_after(f"the link failed: {fault!r}")
        self._close()

    def _wait_after(self, problem: str) -> None:
        """Say what is wrong, let go of the link, and wait longer each time that nothing came."""
        self.problem = problem
        self._close()
        self._stop.wait(self._retry_s)
        self._retry_s = min(2 * self._retry_s, RETRY_MOST_S)

    def _read_on(self, link: Link) -> None:
        while not self._stop.is_set():
            data = link.read(WAIT_S)
            if data:
                self._retry_s = RETRY_FIRST_S
                self.heard_s = time.monotonic()
                self._keep(data)
                time.sleep(BATCH_S)

    def _keep(self, data: bytes) -> None:
        stamp_us = self._stamp_us()
        with self._lock:
            self._pieces.append((stamp_us, data))
            self._held += len(data)
            while self._held > HELD_MOST_BYTES and len(self._pieces) > 1:
                dropped = len(self._pieces.popleft()[1])
                self._held -= dropped
                self.dropped_bytes += dropped
            late = stamp_us - self._pieces[0][0] > LATE_S * 1e6 or self._held > MUCH_BYTES
        if late and self.relief is not None:
            self.relief()

    def _close(self) -> None:
        if self._link is not None:
            self._link.close()
            self._link = None
