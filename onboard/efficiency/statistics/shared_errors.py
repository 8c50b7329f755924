"""The errors that several figures share, and the intervals derived from them.

Five numbers, each the deviation of the truth from the profile's value. A quantity carries its
gradient g along them and its own variance; with their covariance P its variance is g' P g plus its
own. So errors that figures share cancel or add up as they do in reality: see the README of this
room.
"""

import math
from typing import Self

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Figure
from onboard.dataclass import dataclass
from onboard.profile import Battery, Sensors

START, CAPACITY, GAIN, OFFSET, VOLTAGE = range(5)
"""Indices of the shared errors in a gradient. Charge fraction at the start: true less assumed.
Capacity: true over stated, less 1. Current gain: true over corrected, less 1. Current offset: true
less corrected, at zero current [A]. Voltage gain: true over corrected, less 1."""

COUNT = 5

Z_95 = 1.959964
"""97.5 % quantile of the normal distribution (tables)."""


def prior_covariance(sensors: Sensors, battery: Battery | None) -> FloatArray:
    """Return the covariance of the shared errors as the profile states them, shape (5, 5)."""
    sds = np.zeros(COUNT)
    sds[GAIN] = sensors.current_scale_sd
    sds[OFFSET] = sensors.current_offset_sd_a
    sds[VOLTAGE] = sensors.voltage_scale_sd
    if battery is not None:
        sds[START], sds[CAPACITY] = battery.start_sd, battery.capacity_sd
    return np.diag(sds**2)


def interval(value: float, sd: float, least: float = -math.inf, most: float = math.inf) -> Figure:
    """Return a figure with its 95 % interval, clipped to possible values.

    Parameters
    ----------
    value
        The estimate.
    sd
        Its standard deviation.
    least, most
        The smallest and the largest possible value.

    Examples
    --------
    >>> interval(5.0, 1.0, least=4.0, most=6.0)
    Figure(value=5.0, low=4.0, high=6.0)
    """
    reach = Z_95 * sd
    inside = min(max(value, least), most)
    return Figure(
        inside,
        min(max(value - reach, least), inside),
        max(min(value + reach, most), inside),
    )


@dataclass(frozen=True)
class Spread:
    """A value with its gradient along the shared errors and its own variance.

    Parameters
    ----------
    value
        The estimate.
    gradient
        Its change with each shared error, shape (5,).
    own_variance
        Variance independent of all other figures.
    """

    value: float
    gradient: FloatArray
    own_variance: float = 0.0

    @classmethod
    def of_energy(cls, energy_wh: float, volt_hours: float, own_variance_wh2: float = 0.0) -> Self:
        """Return a measured energy [Wh], given the time integral of its voltage [V h]."""
        gradient = np.zeros(COUNT)
        gradient[GAIN] = gradient[VOLTAGE] = energy_wh
        gradient[OFFSET] = volt_hours
        return cls(energy_wh, gradient, own_variance_wh2)

    def variance(self, covariance: FloatArray) -> float:
        """Return the variance, g' P g plus its own, for a covariance P of shape (5, 5)."""
        return float(self.gradient @ covariance @ self.gradient) + self.own_variance

    def figure(
        self, covariance: FloatArray, least: float = -math.inf, most: float = math.inf
    ) -> Figure:
        """Return the figure with its 95 % interval; see `interval`."""
        return interval(self.value, math.sqrt(self.variance(covariance)), least, most)


def ratio(over: Spread, under: Spread) -> Spread:
    """Return the quotient of two values with its errors, to first order.

    Examples
    --------
    >>> one = Spread(2.0, np.array([0, 0, 2.0, 0, 0]), 0.04)
    >>> half = ratio(one, Spread(4.0, np.array([0, 0, 4.0, 0, 0]), 0.0))
    >>> half.value, half.gradient.tolist(), round(half.own_variance, 6)
    (0.5, [0.0, 0.0, 0.0, 0.0, 0.0], 0.0025)
    """
    value = over.value / under.value
    gradient = (over.gradient - value * under.gradient) / under.value
    own = (over.own_variance + value**2 * under.own_variance) / under.value**2
    return Spread(value, gradient, own)
