"""A thread that writes what may wait, one thing after another, so that nobody waits for the card.

Not one of the standard library's pools: at exit Python waits for their threads, however long.
"""

import logging
import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from typing import Any, TypeVar

Value = TypeVar("Value")

log = logging.getLogger("wattwake")


class Saver:
    """Does what it is given, in order, in a thread of its own."""

    def __init__(self) -> None:
        self._acts: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="save", daemon=True)
        self._thread.start()

    def submit(self, act: Callable[..., Value], *given: Any) -> "Future[Value]":
        """Queue an act behind all others; give the future of its result."""
        done: Future[Value] = Future()
        self._acts.put(partial(_do, done, act, *given))
        return done

    def close(self, within_s: float) -> bool:
        """Wait for all of it, no longer than this [s]; tell whether it is done."""
        self._acts.put(None)
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while (act := self._acts.get()) is not None:
            act()


def _do(done: "Future[Value]", act: Callable[..., Value], *given: Any) -> None:
    try:
        done.set_result(act(*given))
    except Exception as fault:  # whatever it is, what follows must still be written
        log.exception("something was not written, in a way that nobody foresaw")
        done.set_exception(fault)
