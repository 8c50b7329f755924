"""The voltage under the present load, carried forward to the cut-off.

A cold or weak pack may give out at full throttle with half its energy left, long before the count
of its charge shows it: resistance grows meanwhile, and part of the sag takes many minutes. So the
measured voltage itself is extrapolated, by the regression of the last two minutes on time and
power.
"""

import math

import numpy as np

from onboard.efficiency.advice.common_practice import (
    LOADED_LEAST_S,
    LOADED_NEAR_FACTOR,
    LOADED_S,
)
from onboard.efficiency.common_practice import DRAWING_LEAST_W
from onboard.efficiency.sources.settled_seconds import SettledSeconds


class LoadedVoltage:
    """Keep the last minutes of voltage and power."""

    def __init__(self) -> None:
        self._rows = np.empty((0, 3))

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order."""
        new = np.stack([seconds.t_s, seconds.volts_v, seconds.power_w], axis=1)
        rows = np.concatenate([self._rows, new[np.isfinite(new).all(axis=1)]])
        self._rows = rows[rows[:, 0] > rows[-1, 0] - LOADED_S] if len(rows) else rows

    def seconds_to_cutoff(self, cutoff_v: float) -> float:
        """Return how long the voltage stays above the cut-off at the present power [s].

        Infinite far from the cut-off: there a voltage that settles after a change of power would be
        taken for one that goes on falling.
        """
        t_s, volts, power = self._rows.T
        if len(t_s) < LOADED_LEAST_S or not power.mean() > DRAWING_LEAST_W:
            return math.inf
        columns = np.stack([np.ones(len(t_s)), t_s - t_s[-1], power - power[-1]], axis=1)
        (now_v, per_s, _), *_ = np.linalg.lstsq(columns, volts, rcond=1e-9)
        if now_v > LOADED_NEAR_FACTOR * cutoff_v or per_s >= 0.0:
            return math.inf
        return max(float(now_v) - cutoff_v, 0.0) / -float(per_s)
