"""What the way home takes at each power, while water and wind change.

Rows are powers rather than speeds: at a power, water that moves by as much as is unknown moves the
speed over ground by as much, which bounds the cost. At a speed it would multiply the power. With P
the power, v the mean speed over the way and f the additional drag of wind,

    energy = (P / v + f) distance.
"""

import math

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.contract.figure import Figure
from onboard.dataclass import dataclass
from onboard.efficiency.advice.common_practice import SLOWED_MOST
from onboard.efficiency.advice.headwind import Headwind
from onboard.efficiency.advice.outlook import Outlook
from onboard.efficiency.common_practice import WATER_WANDERS_S, WAY_LEAST_MPS
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from onboard.efficiency.statistics.shared_errors import Z_95

ITERATIONS = 6
"""Iterations of the mean speed, which depends on the time that the way takes."""


@dataclass(frozen=True)
class WaysHome:
    """Rows of shape (n,), in rising order of power.

    Parameters
    ----------
    speed_mps
        Speed over ground now.
    power_w
        Battery power, without that against additional drag.
    arrives
        Whether the way is made at all.
    needed_wh, margin_wh
        Energy that the way takes, and what is left above the reserve on arrival.
    slowed
        Standard deviation of the mean speed over the way, relative.
    cost_sd_wh
        Standard deviation of the energy needed, by speed and drag to first order.
    meter_sd_wh, rest_sd_wh
        Those of the energy needed by the instruments' errors, and of the margin by everything but
        speed and drag.
    """

    speed_mps: FloatArray
    power_w: FloatArray
    arrives: npt.NDArray[np.bool_]
    needed_wh: FloatArray
    margin_wh: FloatArray
    slowed: FloatArray
    cost_sd_wh: FloatArray
    meter_sd_wh: FloatArray
    rest_sd_wh: FloatArray

    def margin_at(self, sds: float) -> FloatArray:
        """Return the margin that many standard deviations below the mean [Wh], (n,)."""
        margin = self.margin_wh - self._off(sds, self.rest_sd_wh)
        return np.asarray(np.where(self.arrives, margin, -np.inf), np.float64)

    def needed(self, row: int) -> Figure:
        """Return the energy that a row needs [Wh]."""
        low, high = (self.needed_wh + self._off(sds, self.meter_sd_wh) for sds in (-Z_95, Z_95))
        return Figure(float(self.needed_wh[row]), max(float(low[row]), 0.0), float(high[row]))

    def margin(self, row: int) -> Figure:
        """Return the margin that a row leaves [Wh]."""
        low, high = (float(self.margin_at(sds)[row]) for sds in (Z_95, -Z_95))
        return Figure(float(self.margin_wh[row]), low, high)

    def _off(self, sds: float, other_sd_wh: FloatArray) -> FloatArray:
        """Return by how much more energy is needed that many standard deviations off [Wh].

        A speed that is lower by its error costs more than one that is higher saves.
        """
        by_cost = sds * self.cost_sd_wh / (1.0 - np.minimum(sds * self.slowed, SLOWED_MOST))
        return np.asarray(math.copysign(1.0, sds) * np.hypot(by_cost, sds * other_sd_wh))


def ways_home(ahead: Outlook, distance_m: float, wind: Headwind) -> WaysHome:
    """Return the ways over a distance [m]."""
    now_s = np.zeros(len(ahead.speed_mps))
    speed = ahead.speed_mps + wind.more_mps(now_s)
    mean = np.maximum(speed, WAY_LEAST_MPS)
    for _ in range(ITERATIONS):
        took_s = distance_m / mean
        mean = np.maximum(ahead.speed_mps + wind.more_mps(took_s), WAY_LEAST_MPS)
    by_speed = ahead.power_w * distance_m / mean / 3600.0
    needed = by_speed + wind.drag_jpm(took_s) * distance_m / 3600.0
    of_speed, of_drag, both = wind.spread(took_s)
    # The curve at this power is less known than at those ridden.
    beyond = np.maximum(ahead.cost_own / ahead.by_water - wind.spread(now_s)[0], 0.0)
    walk = WANDER_M2PS3 * np.minimum(took_s, WATER_WANDERS_S) / 3.0
    variance = of_speed + beyond + walk
    per_mps, per_jpm = -by_speed / mean, distance_m / 3600.0
    cost = per_mps**2 * variance + per_jpm**2 * of_drag + 2.0 * per_mps * per_jpm * both
    meter = needed[:, None] * ahead.cost_gradient
    return WaysHome(
        speed,
        ahead.power_w,
        mean > WAY_LEAST_MPS,
        needed,
        ahead.left_wh - needed,
        np.asarray(np.sqrt(variance) / mean),
        np.asarray(np.sqrt(cost)),
        _sd(meter, ahead.covariance),
        np.asarray(
            np.hypot(_sd(ahead.left_gradient - meter, ahead.covariance), ahead.left_own**0.5)
        ),
    )


def _sd(gradient: FloatArray, covariance: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.einsum("ni,ij,nj->n", gradient, covariance, gradient)))
