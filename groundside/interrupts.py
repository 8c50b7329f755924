"""Interrupts (SIGINT) held back while they could get lost or do harm."""

import contextlib
import signal
from collections.abc import Iterator


@contextlib.contextmanager
def interrupts_held() -> Iterator[None]:
    """Hold back interrupts of this thread, and of processes started meanwhile, until the end.

    A library that is interrupted while it is loaded may report something else, or nothing.
    """
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
