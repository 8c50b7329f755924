"""End of a run: a signal asks for it, a second one forces it, and it never takes long.

After the first signal the loop finishes its work and what is left is written, within `left_s`. From
then on SIGTERM and SIGINT have their default action: a second one ends the process, whatever hangs.
A thread with no other work ends it once the time is up: a card that does not respond may block any
other thread, and Python would wait for some of them.
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
"""Longest end of the process, unless the kernel blocks it: promised are 3 s."""

WRITE_WITHIN_S = 2.0
"""Longest wait for what is left to be written."""

LEAST_S = 0.3
"""Time for writing even if the end began slowly."""

STEP_S = 0.1
"""The time is counted in steps: on a busy board each takes longer, and so may the end."""

log = logging.getLogger("wattwake")


class Ending:
    """End of one run of the daemon."""

    def __init__(self) -> None:
        self.is_over = False
        """Set when nothing is left to do."""
        self._stop: Callable[[], object] = lambda: None
        self._began_s: float | None = None
        self._exit_code = 1
        self._handled: list[signal.Signals] = []
        # This queue is reentrant: a signal may interrupt anything.
        self._begun: queue.SimpleQueue[None] = queue.SimpleQueue()

    def listen(self, loop: asyncio.AbstractEventLoop, stop: asyncio.Event) -> None:
        """Handle SIGTERM and SIGINT; one that is ignored from outside (nohup) stays ignored."""
        self._stop = lambda: loop.call_soon_threadsafe(stop.set)
        for number in (signal.SIGINT, signal.SIGTERM):
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self.on_signal)
                self._handled.append(number)

    def guard(self) -> None:
        """Start the thread that exits the process if its end takes too long."""
        threading.Thread(target=self.enforce, name="end", daemon=True).start()

    def begin(self) -> None:
        """Mark the begin of the end, for whatever reason."""
        if self._began_s is None:
            self._began_s = time.monotonic()
            self._begun.put(None)
        for number in self._handled:
            signal.signal(number, signal.SIG_DFL)

    def left_s(self) -> float:
        """Return how much longer to wait for what is being written [s]."""
        elapsed_s = 0.0 if self._began_s is None else time.monotonic() - self._began_s
        return max(WRITE_WITHIN_S - elapsed_s, LEAST_S)

    def on_signal(self, _number: int, _frame: FrameType | None) -> None:
        """Stop the run; the signal handler."""
        self._exit_code = 0
        self.begin()
        with contextlib.suppress(RuntimeError):  # the loop is over
            self._stop()

    def enforce(self) -> None:
        """Wait for the end to begin, give it its time, then exit the process."""
        self._begun.get()
        for _ in range(round(END_WITHIN_S / STEP_S)):
            time.sleep(STEP_S)
        if not self.is_over:
            log.error("the end took too long and is forced: the last of the record may be lost")
        os._exit(self._exit_code if self.is_over else 1)
