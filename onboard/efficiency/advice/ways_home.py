"""What the way home takes at each power, while water and wind change.

Rows are powers rather than speeds: at a power, water that moves by as much as is unknown moves the
speed over ground by as much, which bounds the cost. At a speed it would multiply the power. With v
the speed now, u' the trend of the water and f the additional drag of wind,

    distance = v T + u' T^2 / 2, energy = P T + f distance.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.advice.headwind import Headwind
from onboard.efficiency.advice.outlook import Outlook
from onboard.efficiency.common_practice import WATER_WANDERS_S, WAY_LEAST_MPS
from onboard.efficiency.curve.water_walk import WANDER_M2PS3


@dataclass(frozen=True)
class WaysHome:
    """Rows of shape (n,), in rising order of power.

    Parameters
    ----------
    speed_mps
        Speed over ground now.
    power_w
        Battery power, without that against additional drag.
    needed_wh, margin_wh
        Energy that the way takes, infinite where it cannot be made; and what is left above the
        reserve on arrival.
    mean_mps, mean_sd_mps
        Mean speed over the way, and its standard deviation.
    cost_sd_wh, margin_sd_wh
        Standard deviation of the energy needed by speed and drag, to first order; and that of the
        margin without it.
    distance_m
        Of the way.
    """

    speed_mps: FloatArray
    power_w: FloatArray
    needed_wh: FloatArray
    margin_wh: FloatArray
    mean_mps: FloatArray
    mean_sd_mps: FloatArray
    cost_sd_wh: FloatArray
    margin_sd_wh: FloatArray
    distance_m: float

    def surely(self, sds: float) -> FloatArray:
        """Return the margin [Wh] that is exceeded but for `sds` standard deviations."""
        # A speed that is lower by its error costs more than one that is higher saves.
        share = sds * self.mean_sd_mps / np.maximum(self.mean_mps, WAY_LEAST_MPS)
        arrives = np.isfinite(self.needed_wh) & (share < SLOWED_MOST)
        above = sds * self.cost_sd_wh / (1.0 - np.minimum(share, SLOWED_MOST))
        surely = self.margin_wh - np.hypot(above, sds * self.margin_sd_wh)
        return np.asarray(np.where(arrives, surely, -np.inf), np.float64)

    def sd_wh(self) -> FloatArray:
        """Return the standard deviation of the margin to first order [Wh]."""
        return np.asarray(np.hypot(self.cost_sd_wh, self.margin_sd_wh), np.float64)


SLOWED_MOST = 0.95
"""Share of its speed by which a craft may be slowed and still arrive."""


def ways_home(ahead: Outlook, distance_m: float, wind: Headwind) -> WaysHome:
    """Return the ways over a distance [m]."""
    speed = ahead.speed_mps + wind.more_mps
    square = speed**2 + 2.0 * wind.rate_mps2 * distance_m
    arrives = (speed > WAY_LEAST_MPS) & (square > WAY_LEAST_MPS**2)
    mean = np.where(arrives, (speed + np.sqrt(np.maximum(square, 0.0))) / 2.0, WAY_LEAST_MPS)
    took_s = np.minimum(distance_m / mean, 4 * WATER_WANDERS_S)
    by_speed = ahead.power_w * distance_m / mean / 3600.0
    needed = by_speed + np.maximum(wind.drag_jpm(took_s), 0.0) * distance_m / 3600.0
    of_speed, of_drag, both = wind.spread(took_s)
    walk = WANDER_M2PS3 * np.minimum(took_s, WATER_WANDERS_S) / 3.0
    level = np.maximum(ahead.cost_own / ahead.by_water - wind.spread(0.0 * took_s)[0], 0.0)
    variance = of_speed + level + walk
    per_speed, per_drag = by_speed / mean, distance_m / 3600.0
    cost = per_speed**2 * variance + per_drag**2 * of_drag - 2.0 * per_speed * per_drag * both
    gradient = ahead.left_gradient - needed[:, None] * ahead.cost_gradient
    shared = np.einsum("ni,ij,nj->n", gradient, ahead.covariance, gradient)
    return WaysHome(
        speed,
        ahead.power_w,
        np.where(arrives, needed, np.inf),
        ahead.left_wh - needed,
        mean,
        np.asarray(np.sqrt(variance), np.float64),
        np.asarray(np.sqrt(cost), np.float64),
        np.asarray(np.sqrt(shared + ahead.left_own), np.float64),
        distance_m,
    )
