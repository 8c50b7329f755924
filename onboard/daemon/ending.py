"""Shutdown of a run: one signal requests it, a second forces it, and its duration is bounded.

After the first signal the loop finishes its work and pending data are written, within `left_s`.
From then on SIGTERM and SIGINT have their default action: a second signal ends the process,
whatever hangs. A dedicated thread ends it at the deadline: a card that does not respond may block
any other thread, and Python would wait for some of them.
"""

import asyncio
import contextlib
import logging
import os
import queue
import signal
import threading
import time
from collections.abc import Callable
from types import FrameType

END_WITHIN_S = 2.6
"""Deadline of the shutdown, unless the kernel blocks it; 3 s are promised."""

WRITE_WITHIN_S = 2.0
"""Longest wait for pending writes [s]."""

LEAST_S = 0.3
"""Time granted for writing even if the shutdown began slowly [s]."""

STEP_S = 0.1
"""The deadline is counted in steps [s]: on a busy board each takes longer, and so may the
shutdown."""

log = logging.getLogger("wattwake")


class Ending:
    """End of one run of the daemon."""

    def __init__(self) -> None:
        self.is_over = False
        """Set when the shutdown is complete."""
        self._stop: Callable[[], object] = lambda: None
        self._began_s: float | None = None
        self._exit_code = 1
        self._handled: list[signal.Signals] = []
        # This queue is reentrant: a signal may interrupt anything.
        self._begun: queue.SimpleQueue[None] = queue.SimpleQueue()

    def listen(self, loop: asyncio.AbstractEventLoop, stop: asyncio.Event) -> None:
        """Handle SIGTERM and SIGINT; a signal inherited as ignored (nohup) stays ignored."""
        self._stop = lambda: loop.call_soon_threadsafe(stop.set)
        for number in (signal.SIGINT, signal.SIGTERM):
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self.on_signal)
                self._handled.append(number)

    def guard(self) -> None:
        """Start the thread that exits the process if the shutdown takes too long."""
        threading.Thread(target=self.enforce, name="end", daemon=True).start()

    def begin(self) -> None:
        """Mark the start of the shutdown, for any reason."""
        if self._began_s is None:
            self._began_s = time.monotonic()
            self._begun.put(None)
        for number in self._handled:
            signal.signal(number, signal.SIG_DFL)

    def left_s(self) -> float:
        """Return the remaining wait for pending writes [s]."""
        elapsed_s = 0.0 if self._began_s is None else time.monotonic() - self._began_s
        return max(WRITE_WITHIN_S - elapsed_s, LEAST_S)

    def on_signal(self, _number: int, _frame: FrameType | None) -> None:
        """Stop the run; the signal handler."""
        self._exit_code = 0
        self.begin()
        with contextlib.suppress(RuntimeError):  # the loop is over
            self._stop()

    def enforce(self) -> None:
        """Wait for the shutdown to begin, wait out its deadline, then exit the process."""
        self._begun.get()
        for _ in range(round(END_WITHIN_S / STEP_S)):
            time.sleep(STEP_S)
        if not self.is_over:
            log.error("the end took too long and is forced: the last of the record may be lost")
        os._exit(self._exit_code if self.is_over else 1)
