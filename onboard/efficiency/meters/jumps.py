"""Velocities that no craft can have, judged by how fast it would have had to speed up."""

from collections import deque

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.meters.gate import REMEMBERED

STEP_MPS = 3.0
ACCELERATION_MPS2 = 5.0
"""A velocity further than STEP + ACCELERATION x time from the last good one is a fault of the
receiver; one that stays is believed once that time has come. Half of g is more than any craft of
this size does. Common practice, no source."""


class JumpGate:
    """Tells the velocities that jump, one after the other; the result does not depend on cuts."""

    def __init__(self) -> None:
        self._last: FloatArray | None = None
        self.rejected = 0
        self.rejected_s: deque[float] = deque(maxlen=REMEMBERED)
        """Stream times of the last of them [s]."""

    def passes(
        self, t_s: FloatArray, east_mps: FloatArray, north_mps: FloatArray
    ) -> npt.NDArray[np.bool_]:
        """Tell which samples, in rising time, are no jumps; all arrays have shape (n,)."""
        passed = np.ones(len(t_s), np.bool_)
        if not len(t_s):
            return passed
        rows = np.stack([t_s, east_mps, north_mps])
        if self._last is None:
            self._last = rows[:, 0]
        before = np.concatenate([self._last[:, None], rows[:, :-1]], axis=1)
        suspects = np.flatnonzero(_jumps(before, rows))
        count, at = len(t_s), 0
        while at < len(suspects):
            n = int(suspects[at])
            good = rows[:, n - 1] if n else self._last
            while n < count and _jumps(good[:, None], rows[:, n : n + 1])[0]:
                passed[n] = False
                n += 1
            if n == count:
                self._last = good
                break
            at = int(np.searchsorted(suspects, n, side="right"))
        else:
            self._last = rows[:, -1]
        if passed.all():
            return passed
        self.rejected += int(np.count_nonzero(~passed))
        self.rejected_s.extend(t_s[~passed][-REMEMBERED:].tolist())
        return passed


def _jumps(before: FloatArray, rows: FloatArray) -> npt.NDArray[np.bool_]:
    """Tell which velocities are too far from those before; shape (3, n): time, east, north."""
    step_s, east, north = rows - before
    jumps: npt.NDArray[np.bool_] = np.hypot(east, north) > STEP_MPS + ACCELERATION_MPS2 * step_s
    return jumps
