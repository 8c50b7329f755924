"""Lets something be done once a second at most, and at once when more than time has changed."""

import math
from typing import Any


class RedrawInterval:
    """Tells when it is due.

    Parameters
    ----------
    every_s
        Least time between two times [s].

    Examples
    --------
    >>> pace = RedrawInterval(1.0)
    >>> [pace.due(now_s, key) for now_s, key in ((0.0, "a"), (0.6, "a"), (0.8, "b"), (1.9, "b"))]
    [True, False, True, True]
    """

    def __init__(self, every_s: float = 1.0) -> None:
        self._every_s = every_s
        self._last_s = -math.inf
        self._key: Any = None

    def due(self, now_s: float, key: Any = None) -> bool:
        """Return whether it is due now; a key that differs from the last one makes it so."""
        if now_s - self._last_s < self._every_s - 1e-9 and key == self._key:
            return False
        self._last_s, self._key = now_s, key
        return True

    def hurry(self) -> None:
        """Let it be due whenever it is asked for next."""
        self._last_s = -math.inf
