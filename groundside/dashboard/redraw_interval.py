"""Limits redrawing to once a second; redraws at once if more than time changed."""

import math
from typing import Any


class RedrawInterval:
    """A minimum interval between redraws.

    Parameters
    ----------
    every_s
        Minimum interval between redraws with the same key [s].

    Examples
    --------
    >>> redraw = RedrawInterval(1.0)
    >>> [redraw.due(now_s, key) for now_s, key in ((0.0, "a"), (0.6, "a"), (0.8, "b"), (1.9, "b"))]
    [True, False, True, True]
    """

    def __init__(self, every_s: float = 1.0) -> None:
        self._every_s = every_s
        self._last_s = -math.inf
        self._key: Any = None

    def due(self, now_s: float, key: Any = None) -> bool:
        """Return whether to redraw now; a changed key makes it due."""
        if now_s - self._last_s < self._every_s - 1e-9 and key == self._key:
            return False
        self._last_s, self._key = now_s, key
        return True

    def reset(self) -> None:
        """Make the next redraw due."""
        self._last_s = -math.inf
