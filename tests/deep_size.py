"""The bytes that an object keeps alive, including everything it refers to."""

import gc
import sys
import types
from typing import Any

import numpy as np

SHARED = (type, types.ModuleType, types.FunctionType, types.BuiltinFunctionType, types.CodeType)
"""Types of objects that exist once per process."""


def deep_size(root: Any) -> int:
    """Return the bytes of an object and all it refers to; a view counts as its whole array.

    Examples
    --------
    >>> deep_size([np.zeros(1000)[:3]]) > 8000
    True
    """
    seen: set[int] = set()
    waiting, total = [root], 0
    while waiting:
        one = waiting.pop()
        if id(one) in seen or isinstance(one, SHARED):
            continue
        seen.add(id(one))
        total += sys.getsizeof(one)
        waiting += gc.get_referents(one)
        if isinstance(one, np.ndarray) and one.base is not None:
            waiting.append(one.base)
    return total
