"""Time under way: speed over ground above 0.3 m/s for at least 5 s."""

import numpy as np

from onboard.block import FloatArray

MOVING_MPS = 0.3
MOVING_FOR_S = 5.0

LONGEST_STEP_S = 5.0
"""Over a longer step nobody knows what the craft did: it ends a stretch."""


class MovingTimer:
    """Adds up the stretches under way."""

    def __init__(self) -> None:
        self._settled_s = 0.0
        self._begin_s: float | None = None
        self._last_s: float | None = None

    @property
    def moving_s(self) -> float:
        """Time under way so far [s], the present stretch included once it is long enough."""
        return self._settled_s + self._stretch_s()

    def fold(self, t_s: FloatArray, speed_mps: FloatArray) -> None:
        """Take in speeds in rising time; both arrays have shape (n,), NaN is passed over."""
        known = np.isfinite(speed_mps)
        t_s, fast = t_s[known], speed_mps[known] > MOVING_MPS
        if not len(t_s):
            return
        before = self._last_s if self._last_s is not None else -np.inf
        joined = np.diff(t_s, prepend=before) <= LONGEST_STEP_S
        joined &= fast & np.concatenate([[self._begin_s is not None], fast[:-1]])
        # Only the samples where a stretch begins or ends need a look.
        ends = ~fast & np.concatenate([[self._begin_s is not None], fast[:-1]])
        for n in np.flatnonzero((fast & ~joined) | ends).tolist():
            if n:
                self._last_s = float(t_s[n - 1])
            self._settled_s += self._stretch_s()
            self._begin_s = float(t_s[n]) if fast[n] else None
            self._last_s = float(t_s[n])
        self._last_s = float(t_s[-1])

    def _stretch_s(self) -> float:
        if self._begin_s is None or self._last_s is None:
            return 0.0
        length_s = self._last_s - self._begin_s
        return length_s if length_s >= MOVING_FOR_S else 0.0
