"""The gate for all samples: finite, possible, later than the last one. It counts those rejected."""

from collections import deque

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray

REMEMBERED = 50
"""Times of rejected samples stored at most."""


class Gate:
    """Pass samples of one source in strictly rising time.

    Nothing downstream of the gate checks again. The result does not depend on the partition.
    """

    def __init__(self) -> None:
        self._last_s = -np.inf
        self.unknown = 0
        """Number of samples with an unknown value."""
        self.impossible = 0
        """Number of samples with an impossible value."""
        self.impossible_s: deque[float] = deque(maxlen=REMEMBERED)
        """Stream times of the newest of them [s]."""
        self.late = 0
        """Number of samples no later than one before them."""

    def passes(
        self, t_s: FloatArray, known: npt.NDArray[np.bool_], possible: npt.NDArray[np.bool_]
    ) -> npt.NDArray[np.bool_]:
        """Return a mask of the samples that pass, shape (n,).

        Parameters
        ----------
        t_s
            Stream time [s], shape (n,).
        known
            Whether all values of a sample are known, shape (n,).
        possible
            Whether they are possible, where they are known, shape (n,).
        """
        known = known & np.isfinite(t_s)
        fit = known & possible
        reached = np.where(fit, t_s, -np.inf)
        before = np.maximum.accumulate(np.concatenate([[self._last_s], reached]))
        passed = fit & (t_s > before[:-1])
        self._last_s = float(before[-1])
        self.unknown += int(np.count_nonzero(~known))
        self.impossible += int(np.count_nonzero(known & ~possible))
        self.impossible_s.extend(t_s[known & ~possible][-REMEMBERED:].tolist())
        self.late += int(np.count_nonzero(fit & ~passed))
        return passed

    def leave_out(self, t_s: list[float]) -> None:
        """Count samples that passed but later proved impossible, by the times when they did [s]."""
        self.impossible += len(t_s)
        self.impossible_s.extend(t_s)
