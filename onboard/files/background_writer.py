"""A thread that runs write jobs in order, so that no caller waits for the card.

Not a pool of the standard library: at exit Python joins the threads of those without a timeout.
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


class BackgroundWriter:
    """Runs the jobs submitted to it in order, in its own thread."""

    def __init__(self) -> None:
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="save", daemon=True)
        self._thread.start()

    def submit(self, job: Callable[..., Value], *arguments: Any) -> "Future[Value]":
        """Queue a job; return the future of its result."""
        result: Future[Value] = Future()
        self._jobs.put(partial(_run_job, result, job, *arguments))
        return result

    def close(self, within_s: float) -> bool:
        """Wait up to this long [s] for all jobs; return whether they are done."""
        self._jobs.put(None)
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            job()


def _run_job(result: "Future[Value]", job: Callable[..., Value], *arguments: Any) -> None:
    try:
        result.set_result(job(*arguments))
    except Exception as fault:  # on any fault, the jobs behind it must still run
        log.exception("something was not written, in a way that nobody foresaw")
        result.set_exception(fault)
