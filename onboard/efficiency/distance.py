"""Distance over ground: the trapezoid of the receiver's Doppler speed.

Adding up distances between positions would count the receiver's wandering as way made good: with
1 m of independent error a fix a second at rest adds 1.8 m a second (mean of a Rayleigh variable).
"""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.curve import CumulativeCurve, running_total
from onboard.efficiency.gate import Gate
from onboard.efficiency.geodesy import local_distance_m
from onboard.efficiency.moving import MovingTimer

GAP_S = 5.0
"""A step longer than this is bridged by the straight line between its ends."""

REST_MPS = 0.2
"""Below this a speed counts as rest: noise of 0.05 m/s on each axis alone reads as 0.06 m/s, and
the accuracy that receivers state for speed is of this order."""

SPEED_MOST_MPS = 40.0
"""Far above any craft of this size; beyond it a sample is a fault, not a reading."""


class DistanceMeter:
    """Distance by one source of speed over ground."""

    def __init__(self) -> None:
        self.gate = Gate()
        self.distance_m = CumulativeCurve()
        self.moving = MovingTimer()
        self.bridged_m = 0.0
        """Distance over steps longer than `GAP_S` [m]."""
        self.measured_s = 0.0
        """Time covered by steps no longer than `GAP_S` [s]."""
        self.max_speed_mps = 0.0
        self._last = np.empty((0, 4))

    @property
    def first_s(self) -> float:
        """Stream time from which it counts [s]."""
        return self.distance_m.first_s or 0.0

    @property
    def last_s(self) -> float:
        """Stream time of the newest sample [s]."""
        return self.distance_m.last_s or 0.0

    @property
    def speed_mps(self) -> float:
        """The last speed [m/s], NaN before the first."""
        return float(self._last[-1, 1]) if len(self._last) else float("nan")

    def fold(
        self,
        t_s: FloatArray,
        speed_mps: FloatArray,
        latitude_deg: FloatArray,
        longitude_deg: FloatArray,
    ) -> None:
        """Take in samples; all arrays have shape (n,), NaN is unknown."""
        possible = (speed_mps >= 0) & (speed_mps < SPEED_MOST_MPS)
        passed = self.gate.passes(t_s, np.isfinite(speed_mps), possible)
        new = np.stack([t_s, speed_mps, latitude_deg, longitude_deg], axis=1)[passed]
        rows = np.concatenate([self._last, new])
        if not len(new):
            return
        fresh = len(self._last)
        self._last = rows[-1:].copy()
        speed = np.where(rows[:, 1] < REST_MPS, 0.0, rows[:, 1])
        step_s = np.diff(rows[:, 0])
        step_m = step_s * (speed[1:] + speed[:-1]) / 2
        bridged = step_s > GAP_S
        for n in np.flatnonzero(bridged).tolist():
            line = local_distance_m(rows[n, 2], rows[n, 3], rows[n + 1, 2], rows[n + 1, 3])
            # A line that no craft of this size could have made is a fault of the positions.
            if line < SPEED_MOST_MPS * step_s[n]:
                step_m[n] = line
        self.bridged_m = running_total(self.bridged_m, step_m[bridged])
        self.measured_s = running_total(self.measured_s, step_s[~bridged])
        self.moving.fold(new[:, 0], new[:, 1])
        self.max_speed_mps = max(self.max_speed_mps, float(new[:, 1].max()))
        increments = step_m if fresh else np.concatenate([[0.0], step_m])
        self.distance_m.extend(new[:, 0], increments)
