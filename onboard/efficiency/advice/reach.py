"""How far the energy left reaches, and how long it lasts, with what is sure and what is likely.

A range is energy left over consumption. The energy left, and the sensors' errors that it shares
with the consumption, enter linearly (normal); the rest of the consumption is known to a factor
(lognormal). At each probability the deviations of both from the median are added in quadrature,
lower ones and upper ones apart. That is exact where one of them is alone, and keeps the quantiles
in order: what is sure is less than what is likely. The chance of a distance is the probability of
the quantile that equals it.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import (
    DRAWING_LEAST_W,
    WEATHER_AHEAD_SD_FRACTION,
    WEATHER_BUILDS_S,
)
from onboard.efficiency.riding.present_riding import Riding
from onboard.efficiency.riding.scatter import Scatter
from onboard.efficiency.statistics.shared_errors import Z_95, Spread

DEVIATIONS = np.linspace(-4.0, 4.0, 81)
"""Standard normal quantiles between which a chance is interpolated."""

J_PER_WH = 3600.0


@dataclass(frozen=True)
class Reach:
    """How far, or how long, the energy left reaches at each of n powers: ranges [m], or times [s].

    Parameters
    ----------
    middle
        The estimate, shape (n,).
    linear_sd
        Standard deviation of what enters linearly, in the unit of `middle`, shape (n,).
    cost_sd
        Standard deviation of the logarithm of consumption or power, shape (n,).
    """

    middle: FloatArray
    linear_sd: FloatArray
    cost_sd: FloatArray

    def at(self, deviations: float) -> FloatArray:
        """Return the quantile of each row, shape (n,), for a standard normal one.

        Examples
        --------
        >>> one = Reach(np.array([100.0]), np.array([5.0]), np.array([0.0]))
        >>> one.at(-2.0).tolist(), one.at(1.0).tolist()
        ([90.0], [105.0])
        """
        by_cost = self.middle * np.expm1(deviations * self.cost_sd)
        apart = np.hypot(deviations * self.linear_sd, by_cost)
        return np.asarray(np.maximum(self.middle + math.copysign(1.0, deviations) * apart, 0.0))

    def chance(self, row: int, wanted: float) -> float:
        """Return the probability that a row reaches what is wanted, in the unit of `middle`."""
        one = self.row(row)
        reached = np.array([float(one.at(z)[0]) for z in DEVIATIONS.tolist()])
        return math.erfc(float(np.interp(wanted, reached, DEVIATIONS)) / math.sqrt(2.0)) / 2.0

    def row(self, row: int) -> "Reach":
        """Return a single row."""
        only = slice(row, row + 1)
        return Reach(self.middle[only], self.linear_sd[only], self.cost_sd[only])

    def figure(self, row: int = 0) -> Figure:
        """Return a row with its 95 % interval."""
        one = self.row(row)
        return Figure(float(one.middle[0]), float(one.at(-Z_95)[0]), float(one.at(Z_95)[0]))


def reach(
    pack: Pack,
    power_w: FloatArray,
    volts_v: FloatArray | float,
    log_variance: FloatArray | float,
    per_wh: FloatArray,
) -> Reach:
    """Return what the energy left reaches at some powers.

    Parameters
    ----------
    pack
        The battery.
    power_w
        Powers as measured by the craft's own sensors [W], shape (n,).
    volts_v
        Change of each power per ampere of the current sensor's offset error [V].
    log_variance
        Variance of the logarithm of the cost, the sensors' shared errors apart.
    per_wh
        What a watt-hour reaches [m/Wh or s/Wh], shape (n,).
    """
    left, gradient, own = pack.left(power_w)
    by_error = Spread.of_energy(1.0, 0.0).gradient
    by_offset = np.outer(volts_v / power_w, Spread.of_energy(0.0, 1.0).gradient)
    linear = gradient - left[:, None] * (by_error + by_offset)
    variance = np.einsum("ni,ij,nj->n", linear, pack.covariance, linear) + own
    cost_sd = np.sqrt(np.broadcast_to(np.asarray(log_variance, np.float64), len(power_w)))
    return Reach(left * per_wh, np.sqrt(np.maximum(variance, 0.0)) * per_wh, cost_sd)


def riding_range(  # noqa: PLR0917
    pack: Pack,
    riding: Riding,
    speed_mps: FloatArray,
    power_w: FloatArray,
    log_variance: FloatArray | float = 0.0,
    share: FloatArray | float = 1.0,
) -> Reach:
    """Return the ranges at some speeds, ridden in the present way.

    Parameters
    ----------
    pack, riding
        The battery and the present riding.
    speed_mps, power_w
        Speeds over ground [m/s], and the powers that they take [W], shape (n,).
    log_variance
        Variance of the logarithm of each power, given the riding's.
    share
        Derivative of that logarithm with the riding's.
    """
    # With v proportional to P^s, the consumption P/v goes as P^(1 - s).
    to_come, factor = _ahead(pack, riding, riding.cost, 1.0 - riding.sag.of_speed)
    variance = log_variance + share**2 * riding.cost.mean_variance + to_come
    # An error of the sensor's zero counts as far as the power is the measured one.
    volts = riding.volts_v * (1.0 + share * (power_w / riding.power_w - 1.0))
    return reach(pack, power_w, volts, variance, speed_mps / power_w * J_PER_WH * factor)


def _ahead(pack: Pack, riding: Riding, scatter: Scatter, exponent: float) -> tuple[float, float]:
    """Return what the riding ahead adds to the variance, and a falling voltage's factor.

    Parameters
    ----------
    pack, riding
        The battery and the present riding.
    scatter
        Of the cost: consumption or power.
    exponent
        d ln cost / d ln P.
    """
    power = riding.power_w
    ahead_s = pack.left_spread(power).value / power * J_PER_WH
    fall = exponent * pack.voltage_fall(power)
    weather = WEATHER_AHEAD_SD_FRACTION**2 * min(ahead_s / WEATHER_BUILDS_S, 1.0)
    variance = scatter.to_come(ahead_s) + weather + (riding.sag.sd * fall) ** 2
    return variance, math.exp(-riding.sag.by_volts * fall)


def range_now_m(pack: Pack | Unknown, riding: Riding | Unknown) -> Estimate:
    """Return the range of the present way of riding [m], or why there is none."""
    if isinstance(pack, Unknown):
        return pack
    if isinstance(riding, Unknown):
        return riding
    speed, power = np.array([riding.speed_mps]), np.array([riding.power_w])
    return riding_range(pack, riding, speed, power).figure()


def time_riding_s(pack: Pack, riding: Riding) -> Estimate:
    """Return how long the energy left lasts at the present riding [s]."""
    if riding.power_w < DRAWING_LEAST_W:
        return Unknown(Reason.HARDLY_DRAWING)
    power = np.array([riding.power_w])
    to_come, factor = _ahead(pack, riding, riding.draw, 1.0)
    variance = riding.draw.mean_variance + to_come
    return reach(pack, power, riding.volts_v, variance, J_PER_WH * factor / power).figure()


def time_resting_s(pack: Pack, power_w: float, volts_v: float) -> Estimate:
    """Return how long the energy left lasts at a constant power [s]."""
    if power_w < DRAWING_LEAST_W:
        return Unknown(Reason.HARDLY_DRAWING)
    power = np.array([power_w])
    return reach(pack, power, volts_v, 0.0, J_PER_WH / power).figure()
