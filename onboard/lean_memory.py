"""Memory of a process that runs for days: what was freed goes back to the board.

Fits of the curve need a megabyte or two for a moment, and more as more is learned; what is small
and stays then lies between what was freed, and the process only ever grows.
"""

import ctypes
import gc
from collections.abc import Callable

_ARENA_MAX = -8
"""M_ARENA_MAX of mallopt(3); from its header, malloc.h."""


def begin() -> None:
    """Have all threads take memory from one place; to be called before they start."""
    # The modules stay: looking through them all takes long.
    gc.collect()
    gc.freeze()
    _call("mallopt", _ARENA_MAX, 1)


def give_back() -> None:
    """Give back what is free. It takes about a millisecond."""
    gc.collect()
    _call("malloc_trim", 0)


def _call(name: str, *values: int) -> None:
    """Call the C library, where it has such a function: others manage their memory otherwise."""
    function: Callable[..., int] | None = getattr(ctypes.CDLL(None), name, None)
    if function is not None:
        function(*values)
