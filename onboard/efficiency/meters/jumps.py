"""Impossible jumps of velocity, judged by the acceleration they would require."""

from collections import deque

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.common_practice import JUMP_ACCELERATION_MPS2, JUMP_MPS
from onboard.efficiency.meters.gate import REMEMBERED


class JumpGate:
    """Pass velocities that do not jump; the result does not depend on the partition."""

    def __init__(self) -> None:
        self._last: FloatArray | None = None
        self.rejected_s: deque[float] = deque(maxlen=REMEMBERED)
        """Stream times of the newest of them [s]."""

    def passes(
        self, t_s: FloatArray, east_mps: FloatArray, north_mps: FloatArray
    ) -> npt.NDArray[np.bool_]:
        """Return a mask of the samples, in rising time, that do not jump; all of shape (n,)."""
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
        self.rejected_s.extend(t_s[~passed][-REMEMBERED:].tolist())
        return passed


def _jumps(before: FloatArray, rows: FloatArray) -> npt.NDArray[np.bool_]:
    """Return a mask of rows too far from those before; shape (3, n): time, east, north."""
    step_s, east, north = rows - before
    jumps: npt.NDArray[np.bool_] = np.hypot(east, north) > (
        JUMP_MPS + JUMP_ACCELERATION_MPS2 * step_s
    )
    return jumps
