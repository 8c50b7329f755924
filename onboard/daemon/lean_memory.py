"""Memory of a process that runs for days: what was freed goes back to the board.

A fit of the curve needs a megabyte or two for a moment, and more as more is learned. Small blocks
that stay end up between what was freed, and without this the process would only ever grow.
"""

import ctypes
import gc
from collections.abc import Callable

GIVE_BACK_EVERY_S = 10.0
"""Free memory goes back at this pace, and at once when the curve was fitted."""

_ARENA_MAX = -8
"""M_ARENA_MAX of mallopt(3); from its header, malloc.h."""


def begin() -> None:
    """Have all threads take memory from one place; to be called before they start."""
    # The modules stay for good: there is no need to search them on each collection.
    gc.collect()
    gc.freeze()
    _call("mallopt", _ARENA_MAX, 1)


class GiveBack:
    """When free memory goes back to the board."""

    def __init__(self) -> None:
        self._due_s = 0.0
        self._fitted: object = None

    def soon(self) -> None:
        """Have it go back next time: much was needed just now."""
        self._due_s = 0.0

    def if_due(self, now_s: float, fitted: object) -> None:
        """Return free memory back if it is time, or if the curve was fitted anew.

        Parameters
        ----------
        now_s
            Monotonic clock [s].
        fitted
            The last fit of the curve, whichever it is.
        """
        if now_s >= self._due_s or fitted is not self._fitted:
            self._due_s, self._fitted = now_s + GIVE_BACK_EVERY_S, fitted
            give_back()


def give_back() -> None:
    """Return back what is free. It takes about a millisecond."""
    gc.collect()
    _call("malloc_trim", 0)


def _call(name: str, *values: int) -> None:
    """Call the C library, if it has such a function: not all manage memory in this way."""
    function: Callable[..., int] | None = getattr(ctypes.CDLL(None), name, None)
    if function is not None:
        function(*values)
