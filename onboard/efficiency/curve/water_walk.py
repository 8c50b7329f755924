"""The water's velocity as a random walk in time, linear between knots.

Blocks close in time share their water, so averaging many of them does not remove its wandering.
"""

import numpy as np

from onboard.block import FloatArray

WANDER_M2PS3 = 0.03**2 / 200.0
"""Variance rate of each axis: 0.03 m/s in 200 s, 0.13 m/s in an hour. The order of magnitude of a
tide of 0.5 m/s (12.4 h period, by algebra) at slack water, and of eddies in between (common
practice, no source)."""

SPACING_S, KNOTS_MOST = 100.0, 28
"""Shortest spacing of the knots [s], and their largest number."""


class WaterKnots:
    """Knots in time at which the water's velocity is unknown, the present first.

    Parameters
    ----------
    t_s
        Times of the blocks, rising, shape (n,).
    fixed
        One knot only: a constant velocity.
    """

    def __init__(self, t_s: FloatArray, *, fixed: bool = False) -> None:
        span_s = float(t_s[-1] - t_s[0])
        self._now_s = float(t_s[-1])
        most = 1 if fixed else KNOTS_MOST
        self.count = int(min(1 + np.ceil(span_s / SPACING_S), most))
        self.spacing_s = max(span_s / max(self.count - 1, 1), 1.0)

    def weights(self, t_s: FloatArray) -> FloatArray:
        """Return the weights of the knots that interpolate at times, shape (n, count)."""
        place = np.clip((self._now_s - t_s) / self.spacing_s, 0.0, self.count - 1.0)
        return np.asarray(
            np.maximum(1.0 - np.abs(place[:, None] - np.arange(self.count)), 0.0), np.float64
        )

    def prior(self, water_sd_mps: float) -> FloatArray:
        """Return the prior precision of one axis, shape (k, k): present near rest, steps a walk."""
        step = np.diff(np.eye(self.count), axis=0)
        precision: FloatArray = step.T @ step / (WANDER_M2PS3 * self.spacing_s)
        precision[0, 0] += 1.0 / water_sd_mps**2
        return precision

    @property
    def between_m2ps2(self) -> float:
        """Mean variance of the walk about its straight line between two knots [m^2/s^2]."""
        return WANDER_M2PS3 * self.spacing_s / 6.0 if self.count > 1 else 0.0
