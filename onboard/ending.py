"""How a run ends: a signal asks for it, a second one forces it, and nothing holds it up for long.

After the first signal the loop ends its work, and what is left is written: `left_s` tells how long
that may take. From then on SIGTERM and SIGINT have the system end the process, whatever hangs. A
thread that waits for nothing else does the same when the time is over: a card that does not answer
may hold any other thread, and Python would wait for some of them.
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
"""The process is gone by then, but for what the system itself holds: 3 s, and time for it."""

WRITE_WITHIN_S = 2.0
"""Up to then what is left to be written is waited for."""

LEAST_S = 0.3
"""Where the end began slowly it is still tried to write."""

STEP_S = 0.1
"""The time is counted in steps: on a board that is merely busy each takes longer, and the end with
it."""

log = logging.getLogger("wattwake")


class Ending:
    """The end of one run of the daemon."""

    def __init__(self) -> None:
        self.is_over = False
        """To be set once nothing is left to be done."""
        self._stop: Callable[[], object] = lambda: None
        self._began_s: float | None = None
        self._exit_code = 1
        self._heard: list[signal.Signals] = []
        # A signal may come in the midst of anything: this can be used even then.
        self._begun: queue.SimpleQueue[None] = queue.SimpleQueue()

    def listen(self, loop: asyncio.AbstractEventLoop, stop: asyncio.Event) -> None:
        """Have SIGTERM and SIGINT ask for the end; from outside ignored (nohup) they stay so."""
        self._stop = lambda: loop.call_soon_threadsafe(stop.set)
        for number in (signal.SIGINT, signal.SIGTERM):
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self._told)
                self._heard.append(number)

    def guard(self) -> None:
        """Have the process ended where that takes too long: for one that has nothing else to do."""
        threading.Thread(target=self._end_late, name="end", daemon=True).start()

    def begin(self) -> None:
        """Take note that the end has begun, for whatever reason."""
        if self._began_s is None:
            self._began_s = time.monotonic()
            self._begun.put(None)
        for number in self._heard:
            signal.signal(number, signal.SIG_DFL)

    def left_s(self) -> float:
        """Give how long may still be waited until something is written [s]."""
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
            log.error("it does not come to its end, and is ended: what came last may be lost")
        os._exit(self._exit_code if self.is_over else 1)
