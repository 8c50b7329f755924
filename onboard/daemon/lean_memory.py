"""Keep a process that runs for days small: return freed memory to the system.

A fit of the curve briefly needs a megabyte or two, and more as more is learned. Small blocks that
stay allocated fragment the freed memory, and without trimming the process would only grow.
"""

import ctypes
import gc
from collections.abc import Callable

TRIM_EVERY_S = 10.0
"""Interval between trims [s]; a fit of the curve or a save triggers one at once."""

COLLECT_EVERY_S = 60.0
"""Interval between collections of cyclic garbage [s]: each takes longer than a fold."""

_ARENA_MAX = -8
"""M_ARENA_MAX of mallopt(3); from its header, malloc.h."""


def begin() -> None:
    """Have all threads share one malloc arena; call it before they start."""
    # Modules are never freed: exclude them from garbage collection.
    gc.collect()
    gc.freeze()
    _call("mallopt", _ARENA_MAX, 1)


class Trimmer:
    """Schedule of trims."""

    def __init__(self) -> None:
        self._due_s = self._collect_s = 0.0
        self._fit: object = None

    def trim_soon(self) -> None:
        """Trim at the next call: much memory has just been used."""
        self._due_s = 0.0

    def trim_if_due(self, now_s: float, fit: object) -> None:
        """Trim if it is due, or if the curve was refitted.

        Parameters
        ----------
        now_s
            Monotonic clock [s].
        fit
            Last fit of the curve.
        """
        if now_s >= self._due_s or fit is not self._fit:
            self._due_s, self._fit = now_s + TRIM_EVERY_S, fit
            if now_s >= self._collect_s:
                self._collect_s = now_s + COLLECT_EVERY_S
                gc.collect()
            trim()


def trim() -> None:
    """Return free memory to the system."""
    _call("malloc_trim", 0)


def _call(name: str, *values: int) -> None:
    """Call a function of the C library, if it exists there."""
    function: Callable[..., int] | None = getattr(ctypes.CDLL(None), name, None)
    if function is not None:
        function(*values)
