"""Enter, pressed in the terminal where `serve` runs: all that it hears there."""

import asyncio
import contextlib
import os
import sys
from collections.abc import Callable

AGAIN_S = 1.0
"""How soon it is looked again who the terminal belongs to [s]."""


class EnterKey:
    """Does something whenever Enter is pressed.

    Parameters
    ----------
    do
        What.
    """

    def __init__(self, do: Callable[[], None]) -> None:
        self._do = do

    def wait_for(self) -> None:
        """Begin, in the running event loop."""
        with contextlib.suppress(OSError, ValueError, NotImplementedError):
            asyncio.get_running_loop().add_reader(sys.stdin.fileno(), self._pressed)

    def _pressed(self) -> None:
        loop, source = asyncio.get_running_loop(), sys.stdin.fileno()
        if not in_foreground(source):
            # What is typed is not for us, and a read in the background would stop us.
            loop.remove_reader(source)
            loop.call_later(AGAIN_S, self.wait_for)
            return
        with contextlib.suppress(OSError):
            if os.read(source, 1024):
                self._do()
                return
        loop.remove_reader(source)  # the terminal is gone


def in_foreground(terminal: int) -> bool:
    """Return whether what is typed at a terminal is meant for us."""
    try:
        return os.tcgetpgrp(terminal) == os.getpgrp()
    except OSError:
        return False
