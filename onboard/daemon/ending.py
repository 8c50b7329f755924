"""How a run ends: a signal asks for it, a second one forces it, and nothing holds it up for long.

After the first signal the loop finishes its work, and what is left is written: `left_s` tells how
long that may take. From then on the system's own handling of SIGTERM and SIGINT ends the process,
whatever hangs. A thread with no other work does the same once the time is up: a card that does not
answer may block any other thread, and Python would wait for some of them.
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
"""The process is gone by then, unless the kernel holds it: within 3 s, with some to spare."""

WRITE_WITHIN_S = 2.0
"""How long to wait for what is left to be written."""

LEAST_S = 0.3
"""Where the end began slowly, writing still gets this long."""

STEP_S = 0.1
"""The time is counted in steps: on a board that is merely busy each takes longer, and the end with
it."""

log = logging.getLogger("wattwake")


class Ending:
    """The end of one run of the daemon."""

    def __init__(self) -> None:
        self.is_over = False
        """Set once nothing is left to do."""
        self._stop: Callable[[], object] = lambda: None
        self._began_s: float | None = None
        self._exit_code = 1
        self._heard: list[signal.Signals] = []
        # A signal may come in the middle of anything: this queue is safe even then.
        self._begun: queue.SimpleQueue[None] = queue.SimpleQueue()

    def listen(self, loop: asyncio.AbstractEventLoop, stop: asyncio.Event) -> None:
        """Have SIGTERM and SIGINT ask for the end; one ignored from outside (nohup) stays so."""
        self._stop = lambda: loop.call_soon_threadsafe(stop.set)
        for number in (signal.SIGINT, signal.SIGTERM):
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self._told)
                self._heard.append(number)

    def guard(self) -> None:
        """Start the thread that ends the process if its end takes too long."""
        threading.Thread(target=self._end_late, name="end", daemon=True).start()

    def begin(self) -> None:
        """Take note that the end has begun, for whatever reason."""
        if self._began_s is None:
            self._began_s = time.monotonic()
            self._begun.put(None)
        for number in self._heard:
            signal.signal(number, signal.SIG_DFL)

    def left_s(self) -> float:
        """Return how much longer to wait for what is being written [s]."""
        gone_s = 0.0 if self._began_s is None else time.monotonic() - self._began_s
        return max(WRITE_WITHIN_S - gone_s, LEAST_S)

    def _told(self, _number: int, _frame: FrameType | None) -> None:
        self._exit_code = 0
        self.begin()
        with contextlib.suppress(RuntimeError):  # the loop is over
            self._stop()

    def _end_late(self) -> None:
        self._begun.get()
        for _ in range(round(END_WITHIN_S / STEP_S)):
            time.sleep(STEP_S)
        if not self.is_over:
            log.error("the end took too long and is forced: the last of the record may be lost")
        os._exit(self._exit_code if self.is_over else 1)
