"""The outlook on another course: what every speed takes there, from battery, curve and water.

One row per speed over ground. The way home and a plan are read off these rows; what lies ahead on
the present courses, off those of `speeds_ahead`.
"""

import math
from typing import Protocol

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import WATER_WANDERS_S, WEATHER_SD_FRACTION
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from onboard.efficiency.statistics.shared_errors import GAIN, OFFSET, VOLTAGE

UPPER_SD, UPPER_MOST = 2.05, 6.0
"""Standard deviations above the mean at which the upper side of a lognormal cost is taken, and the
bound of its exponent."""


METRES_PER_WH_AT_1_W_1_MPS = 3600.0


class PowerAtSpeed(Protocol):
    """Battery power for speeds over ground on a course, with its uncertainty."""

    def __call__(
        self, speed_mps: FloatArray, course_deg: float | None
    ) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_], FloatArray]:
        """Return the power of each speed, arrays of shape (n,).

        Returns
        -------
        tuple of numpy.ndarray
            Power [W]; variance of its logarithm; whether the speed was seen; and the squared
            derivative of ln P with respect to the water along the course [s^2/m^2].
        """


class EnergyLeft(Protocol):
    """Energy that can still be drawn at a power."""

    def __call__(self, power_w: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return energy [Wh] (n,), gradient along shared errors (n, 5), own variance (n,)."""


@dataclass(frozen=True)
class Outlook:
    """Rows of shape (n,), in rising order of speed.

    Parameters
    ----------
    speed_mps
        Speed over ground.
    power_w
        Battery power, corrected.
    left_wh
        Energy that can still be drawn at that power.
    seen
        Whether the curve was learned at that speed.
    left_gradient, left_own
        Gradient of `left_wh` along the shared errors, (n, 5), and its own variance [Wh^2].
    cost_gradient, cost_own
        The same of ln power, for the errors of instruments and curve.
    by_water
        Squared derivative of ln P with respect to the water along the course [s^2/m^2].
    covariance
        Of the shared errors, shape (5, 5).
    """

    speed_mps: FloatArray
    power_w: FloatArray
    left_wh: FloatArray
    seen: npt.NDArray[np.bool_]
    left_gradient: FloatArray
    left_own: FloatArray
    cost_gradient: FloatArray
    cost_own: FloatArray
    by_water: FloatArray
    covariance: FloatArray

    @property
    def range_m(self) -> FloatArray:
        """Range at each speed [m]."""
        return self.left_wh * self.speed_mps / self.power_w * METRES_PER_WH_AT_1_W_1_MPS

    def cost_sd(self) -> FloatArray:
        """Return the relative standard deviation of each row's cost."""
        return np.asarray(
            np.sqrt(_quadratic(self.cost_gradient, self.covariance) + self.cost_own), np.float64
        )

    def margin(self, distance_m: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the energy a distance needs, the margin left and its sd [Wh], each (n,)."""
        needed = self.power_w / self.speed_mps * distance_m / METRES_PER_WH_AT_1_W_1_MPS
        gradient = self.left_gradient - needed[:, None] * self.cost_gradient
        # Water and wind keep changing until arrival: the slower, the longer. A power known to
        # within a factor is lognormal: its upper side exceeds its standard deviation, and
        # approaches it as the uncertainty shrinks.
        ahead_s = np.minimum(distance_m / self.speed_mps, WATER_WANDERS_S)
        sd = np.sqrt(self.cost_own + self.by_water * WANDER_M2PS3 * ahead_s / 3.0)
        above = np.expm1(np.minimum(UPPER_SD * sd, UPPER_MOST)) / UPPER_SD
        own = self.left_own + (needed * above) ** 2
        return needed, self.left_wh - needed, np.sqrt(_quadratic(gradient, self.covariance) + own)


def outlook(  # noqa: PLR0917
    speed_mps: FloatArray,
    course_deg: float | None,
    power_at: PowerAtSpeed,
    left_at: EnergyLeft,
    volts_v: float,
    covariance: FloatArray,
) -> Outlook:
    """Combine battery and curve.

    Parameters
    ----------
    speed_mps
        Speeds over ground to evaluate, rising, shape (n,).
    course_deg
        Over ground; None if unknown.
    power_at, left_at
        The craft and its battery.
    volts_v
        Present battery voltage [V]: converts the current sensor's offset error into power.
    covariance
        Of the shared errors, shape (5, 5).
    """
    power, log_variance, seen, by_water = power_at(speed_mps, course_deg)
    left, left_gradient, left_own = left_at(power)
    cost = np.zeros((len(power), 5))
    cost[:, GAIN] = cost[:, VOLTAGE] = 1.0
    cost[:, OFFSET] = volts_v / power
    own = log_variance + WEATHER_SD_FRACTION**2
    return Outlook(
        speed_mps, power, left, seen, left_gradient, left_own, cost, own, by_water, covariance
    )


def likelihood(margin: float, sd: float) -> float:
    """Return the probability that a normal variable with this mean and sd is above zero."""
    if sd <= 0:
        return 1.0 if margin >= 0 else 0.0
    return 0.5 * math.erfc(-margin / sd / math.sqrt(2.0))


def _quadratic(gradient: FloatArray, covariance: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("ni,ij,nj->n", gradient, covariance, gradient), np.float64)
