"""The one gate that samples pass: finite, possible, later than the last one. Counts the rest."""

from collections import deque

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray

REMEMBERED = 50


class Gate:
    """Lets samples of one source through in strictly rising time.

    Nothing behind the gate checks again. The result does not depend on how the stream is cut.
    """

    def __init__(self) -> None:
        self._last_s = -np.inf
        self.unknown = 0
        """Samples with a value that is not known."""
        self.impossible = 0
        """Samples with a value that cannot be."""
        self.impossible_s: deque[float] = deque(maxlen=REMEMBERED)
        """Stream times of the last of them [s]."""
        self.late = 0
        """Samples no later than one before them."""

    def passes(
        self, t_s: FloatArray, known: npt.NDArray[np.bool_], possible: npt.NDArray[np.bool_]
    ) -> npt.NDArray[np.bool_]:
        """Tell which samples pass.

        Parameters
        ----------
        t_s
            Stream time [s], shape (n,).
        known
            Whether a sample's values are all known, shape (n,).
        possible
            Whether its values can be, where they are known, shape (n,).
        """
        known = known & np.isfinite(t_s)
        fit = known & possible
        held = np.where(fit, t_s, -np.inf)
        before = np.maximum.accumulate(np.concatenate([[self._last_s], held]))
        passed = fit & (t_s > before[:-1])
        self._last_s = float(before[-1])
        self.unknown += int(np.count_nonzero(~known))
        self.impossible += int(np.count_nonzero(known & ~possible))
        self.impossible_s.extend(t_s[known & ~possible][-REMEMBERED:].tolist())
        self.late += int(np.count_nonzero(fit & ~passed))
        return passed

    def leave_out(self, t_s: list[float]) -> None:
        """Count samples that passed and cannot be after all, by when that was known [s]."""
        self.impossible += len(t_s)
        self.impossible_s.extend(t_s)
