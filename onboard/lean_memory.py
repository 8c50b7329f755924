"""Memory of a process that runs for days: what was freed goes back to the board.

A fit of the curve needs a megabyte or two for a moment, and more as more is learned. Small blocks
that stay end up between what was freed, and without this the process would only ever grow.
"""

import ctypes
import gc
from collections.abc import Callable

_ARENA_MAX = -8
"""M_ARENA_MAX of mallopt(3); from its header, malloc.h."""


def begin() -> None:
    """Have all threads take memory from one place; to be called before they start."""
    # The modules stay for good: there is no need to search them on each collection.
    gc.collect()
    gc.freeze()
    _call("mallopt", _ARENA_MAX, 1)


def give_back() -> None:
    """Give back what is free. It takes about a millisecond."""
    gc.collect()
    _call("malloc_trim", 0)


def _call(name: str, *values: int) -> None:
    """Call the C library, if it has such a function: not all manage memory in this way."""
    function: Callable[..., int] | None = getattr(ctypes.CDLL(None), name, None)
    if function is not None:
        function(*values)
