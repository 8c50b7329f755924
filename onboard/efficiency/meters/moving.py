"""Time under way: speed over ground above `MOVING_MPS` for at least `MOVING_FOR_S`."""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.common_practice import GAP_S
from onboard.efficiency.meters.steadiness import MOVING_FOR_S, MOVING_MPS


class MovingTimer:
    """Add up the stretches under way; a gap ends one."""

    def __init__(self) -> None:
        self._settled_s = 0.0
        self._begin_s: float | None = None
        self._last_s: float | None = None

    @property
    def moving_s(self) -> float:
        """Time under way so far [s], with the present stretch once it is long enough."""
        return self._settled_s + self._stretch_s()

    def fold(self, t_s: FloatArray, speed_mps: FloatArray) -> None:
        """Fold speeds [m/s] in rising stream time [s]; shape (n,), NaN is skipped."""
        known = np.isfinite(speed_mps)
        t_s, fast = t_s[known], speed_mps[known] > MOVING_MPS
        if not len(t_s):
            return
        before = self._last_s if self._last_s is not None else -np.inf
        joined = np.diff(t_s, prepend=before) <= GAP_S
        joined &= fast & np.concatenate([[self._begin_s is not None], fast[:-1]])
        # Only samples at which a stretch begins or ends matter.
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
