"""Ends the dashboard on a signal, or when its terminal is gone.

A terminal that nobody reads blocks the toolkit's event loop, and one that is gone blocks its
shutdown. So the watch runs in its own thread, and ends the process itself after a grace period;
otherwise dashboards would pile up on the board, one for each lost connection.
"""

import asyncio
import os
import signal
import threading
import time
from collections.abc import Callable
from types import FrameType

SIGNALS = (signal.SIGTERM, signal.SIGHUP)
CHECK_EVERY_S = 0.5
GRACE_S = 2.0
"""Time limit for an orderly end [s]: it takes about 0.2 s; beyond this it is blocked for good."""


class EndWatch:
    """Asks for an orderly end, and forces one if none comes.

    Parameters
    ----------
    leave
        Called in the event loop with the exit code: 128 plus the signal's number.
    force
        Ends the process if `leave` does not; replaced in tests.
    check_every_s, grace_s
        Interval between checks, and time to wait for `leave` [s].
    clock
        A monotonic clock [s].
    """

    def __init__(
        self,
        leave: Callable[[int], None],
        *,
        force: Callable[[int], None] = os._exit,
        check_every_s: float = CHECK_EVERY_S,
        grace_s: float = GRACE_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock = clock
        self.leave = leave
        self._force = force
        self._check_every_s = check_every_s
        self._grace_s = grace_s
        self._terminal: int | None = None
        self._parent: int | None = None
        self._asked_s: float | None = None
        self._whole_run = False
        self._code = 0
        self._done = threading.Event()
        self._before: dict[int, signal.Handlers | int | Callable[..., object] | None] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self.thread: threading.Thread | None = None
        """The thread that watches; None before the start."""

    def begin(self, terminal: int | None, parent: int | None = None) -> None:
        """Start watching before there is an event loop, until `stop`; parameters as for `start`.

        A terminal that goes while the toolkit starts or ends would leave it spinning on the end of
        its input for ever.
        """
        self._whole_run = True
        self._start_thread(terminal, parent)

    def start(self, terminal: int | None, parent: int | None = None) -> None:
        """Start watching, inside the event loop; a watch that has begun goes on.

        Parameters
        ----------
        terminal
            File descriptor of the terminal; None if there is none.
        parent
            Process id of the server that shows the dashboard, watched too; None if there is none.
        """
        self._loop = asyncio.get_running_loop()
        if threading.current_thread() is threading.main_thread():
            # not the loop's own handlers: they run in the loop, which may be blocked
            self._before = {each: signal.signal(each, self._on_signal) for each in SIGNALS}
        if self.thread is None:
            self._start_thread(terminal, parent)

    def _start_thread(self, terminal: int | None, parent: int | None) -> None:
        self._terminal, self._parent = terminal, parent
        self.thread = threading.Thread(target=self._watch, name="end-watch", daemon=True)
        self.thread.start()

    def release(self) -> None:
        """Restore the signal handlers; stop watching, unless an end was requested or it began."""
        for each, handler in self._before.items():
            signal.signal(each, handler)
        self._before = {}
        if self._asked_s is None and not self._whole_run:
            self._done.set()

    def stop(self) -> None:
        """Stop watching: the dashboard has ended."""
        self._done.set()

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        self._ask(128 + number)

    def _ask(self, code: int) -> None:
        if self._asked_s is not None:
            return
        self._code = code
        self._asked_s = self._clock()
        if self._loop is None:  # the app has not started: it is ended by force
            return
        try:
            self._loop.call_soon_threadsafe(self.leave, code)
        except RuntimeError:  # the loop has ended already
            if not self._whole_run:
                self._done.set()

    def _watch(self) -> None:
        while not self._done.wait(self._check_every_s):
            gone = self._terminal is not None and not os.isatty(self._terminal)
            if gone or (self._parent is not None and os.getppid() != self._parent):
                self._ask(128 + signal.SIGHUP)
            if self._asked_s is not None and self._clock() - self._asked_s > self._grace_s:
                self._force(self._code)
                return
