"""The next trip: the cost of each speed, and the probability of arriving above the reserve.

What is uncertain. The energy E that the way takes is lognormal: the curve as another day widened
it, the sensors' gains, the wind. So, nearly, is the energy L above the reserve. The errors that
both share cancel or add up as they do in reality; the craft arrives if L > E, with probability
Phi(ln(L / E) / sd). The water current is taken as stated. Where it is not, it may also be as it was
on earlier rides: the spread reaches, below or above, to what they took at that speed.

Over ground. Where no course ridden tells the water from the craft, the curve through water is
known to a factor only, but not what the same course takes in the same water. Unless a current is
stated, such a plan is one of speeds over ground.
"""

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from groundside.studies.pack_supply import Supply
from groundside.studies.trip_practice import COUNTED_APART_FRACTION, SURE_FRACTION
from groundside.studies.way_ahead import Way, cost
from onboard.block import FloatArray
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import (
    DAY_SHAPE_SD_FRACTION,
    DAY_SPEED_SD_FRACTION,
    WATER_PRIOR_SD_MPS,
)
from onboard.efficiency.curve.ridden import Took, took
from onboard.efficiency.statistics.shared_errors import COUNT, GAIN, OFFSET, VOLTAGE, Z_95

STEP_MPS = 0.1
"""Spacing of the speeds of a plan [m/s]."""

FAR_FACTOR = 2.0
"""A speed further than this factor from those ridden is not planned for."""

LOAD_EXPONENT = 2.0 / 3.0
"""Exponent of displacement in the power at a speed: the Admiralty coefficient's rule, which fails
for large changes."""


class KnownCurve(Protocol):
    """Power against speed, with its uncertainty."""

    @property
    def seen_mps(self) -> tuple[float, float]:
        """Lowest and highest speed at which it was learned [m/s]."""

    def ln_power_at(self, through_water_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ln P [ln W] and the slope d ln w / d ln P at speeds, shape (n,)."""

    def curve_variance(self, through_water_mps: FloatArray) -> FloatArray:
        """Return the variance of ln P at speeds, shape (n,)."""


@dataclass(frozen=True)
class Knowledge:
    """What earlier rides tell of the craft.

    Parameters
    ----------
    through_water
        Its curve.
    over_ground
        The curve against speed over ground, where no course ridden tells the water from the craft.
    ridden
        Sums of what rides took; see `onboard.efficiency.curve.ridden`.
    """

    through_water: KnownCurve
    over_ground: KnownCurve | None
    ridden: FloatArray

    def is_over_ground(self, way: Way) -> bool:
        """Return whether a way is planned in speeds over ground, in the water as it was."""
        return self.over_ground is not None and not way.states_water

    def curve(self, way: Way) -> KnownCurve:
        """Return the curve by which a way is planned."""
        if self.over_ground is not None and self.is_over_ground(way):
            return self.over_ground
        return self.through_water


@dataclass(frozen=True)
class PlanRow:
    """The plan at one speed.

    Parameters
    ----------
    through_water_mps, speed_mps
        Speed through the water, and mean speed over ground of the whole way.
    time_s
        Duration.
    power_w
        Battery power, mean of the whole way.
    energy_wh
        Energy needed.
    left_wh
        Energy left above the reserve on arrival.
    arrive_fraction
        Probability of arriving above the reserve.
    extrapolated
        Whether the speed is outside those of the learned curve.
    took
        What rides took at that speed over ground; None if hardly any was ridden at it.
    """

    through_water_mps: float
    speed_mps: float
    time_s: float
    power_w: float
    energy_wh: Figure
    left_wh: float
    arrive_fraction: float
    extrapolated: bool
    took: Took | None


def plan_rows(
    knowledge: Knowledge, supply: Supply, way: Way, more_mps: Sequence[float] = ()
) -> tuple[PlanRow, ...] | Unknown:
    """Evaluate the learned speeds, a tenth of a m/s apart, and further ones.

    Parameters
    ----------
    knowledge
        What is known of the craft.
    supply
        The battery.
    way
        The way ahead.
    more_mps
        Further speeds, through the water or, where the plan is over ground, over ground.

    Returns
    -------
    tuple of PlanRow
        Rows in increasing speed; Unknown if no speed makes way.
    """
    low, high = knowledge.curve(way).seen_mps
    first, last = np.ceil(low / STEP_MPS - 1e-9), np.floor(high / STEP_MPS + 1e-9)
    learned = np.round(np.arange(first, last + 1) * STEP_MPS, 6)
    if not len(learned):
        learned = np.array([(low + high) / 2.0])
    speeds = np.unique(np.round(np.concatenate([learned, more_mps]), 6))
    rows = rows_at(knowledge, supply, way, speeds)
    return rows or Unknown(Reason.NO_WAY_MADE)


def rows_at(
    knowledge: Knowledge, supply: Supply, way: Way, through_mps: FloatArray
) -> tuple[PlanRow, ...]:
    """Evaluate speeds; those that make no way are left out."""
    known = knowledge.curve(way)
    whole = cost(way, through_mps, np.exp(known.ln_power_at(through_mps)[0]))
    through = through_mps[whole.made]
    if not len(through):
        return ()
    time_s, needed, wind = (
        values[whole.made] for values in (whole.time_s, whole.energy_wh, whole.wind_sd_fraction)
    )
    over, power = way.whole_m / time_s, needed * 3600.0 / time_s
    variance = _curve_variance(known, through) + wind**2
    if knowledge.is_over_ground(way):
        variance += _of_another_ride(way, over, wind)
    taken = [took(knowledge.ridden, speed) for speed in over.tolist()]
    left, left_gradient, left_own = supply.left_at(power)
    gains = np.zeros((len(through), COUNT))
    gains[:, GAIN] = gains[:, VOLTAGE] = 1.0
    gains[:, OFFSET] = supply.volts_v / power
    least = np.maximum(left, 1e-6)
    both = left_gradient / least[:, None] - gains
    of_left = _quadratic(both, supply.covariance) + left_own / least**2
    of_gains = _quadratic(gains, supply.covariance)
    below, above = _including(taken, way, needed, variance)
    low, high = known.seen_mps
    rows = []
    for n, speed in enumerate(through.tolist()):
        energy, ahead = float(needed[n]), math.log(float(least[n] / needed[n]))
        beyond = float(above[n] if ahead >= 0.0 else below[n])
        rows.append(
            PlanRow(
                speed,
                float(over[n]),
                float(time_s[n]),
                float(power[n]),
                Figure(
                    energy,
                    energy * math.exp(-Z_95 * math.sqrt(float(of_gains[n] + below[n]))),
                    energy * math.exp(Z_95 * math.sqrt(float(of_gains[n] + above[n]))),
                ),
                float(left[n]) - energy,
                _chance(ahead, math.sqrt(float(of_left[n]) + beyond)) if left[n] > 0.0 else 0.0,
                not low - 1e-9 <= speed <= high + 1e-9,
                taken[n],
            )
        )
    return tuple(rows)


def _curve_variance(known: KnownCurve, through_mps: FloatArray) -> FloatArray:
    """Return the variance of ln P at speeds, without what the plan counts by itself."""
    _, slope = known.ln_power_at(through_mps)
    day = DAY_SPEED_SD_FRACTION**2 + DAY_SHAPE_SD_FRACTION**2
    variance = known.curve_variance(through_mps)
    left = variance - COUNTED_APART_FRACTION * day / slope**2
    return np.asarray(np.maximum(left, (1.0 - COUNTED_APART_FRACTION) * variance), np.float64)


def _of_another_ride(way: Way, over_mps: FloatArray, wind: FloatArray) -> FloatArray:
    """Return the variance of ln E by what the rides behind a curve over ground met, and this not.

    Their wind is as unknown as this one's. At a speed v over ground one way, water c along the
    course leaves v - 2 c on the way back at the same power: both together cost c / v more.
    """
    if not way.there_and_back:
        return wind**2
    return np.asarray((WATER_PRIOR_SD_MPS / over_mps) ** 2, np.float64)


def _including(
    taken: list[Took | None], way: Way, needed_wh: FloatArray, variance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the variance of ln E below and above, widened to include what rides took."""
    if way.states_water or way.states_wind or way.power_factor != 1.0:
        return variance, variance
    by_rides = np.array([math.nan if one is None else one.wh_per_km for one in taken])
    apart = np.nan_to_num(np.log(by_rides * way.whole_m / 1000.0 / needed_wh)) / Z_95
    below, above = np.maximum(-apart, 0.0) ** 2, np.maximum(apart, 0.0) ** 2
    return np.maximum(variance, below), np.maximum(variance, above)


def _chance(ahead: float, sd: float) -> float:
    """Return the probability that a normal variable with this mean and sd is above zero."""
    if sd <= 0.0:
        return 1.0 if ahead >= 0.0 else 0.0
    return 0.5 * math.erfc(-ahead / sd / math.sqrt(2.0))


def _quadratic(gradient: FloatArray, covariance: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("ni,ij,nj->n", gradient, covariance, gradient), np.float64)


def best_row(rows: Sequence[PlanRow]) -> PlanRow:
    """Return the fastest speed that surely arrives; failing that, the most likely to arrive.

    Where none is likely at all, it is the one that lacks least energy. Only learned speeds are
    considered, unless there is none.
    """
    learned = [row for row in rows if not row.extrapolated] or list(rows)
    sure = [row for row in learned if row.arrive_fraction >= SURE_FRACTION]
    if sure:
        return max(sure, key=lambda row: row.speed_mps)
    return max(learned, key=lambda row: (round(row.arrive_fraction, 3), row.left_wh))


def too_far(known: KnownCurve, speed_mps: float) -> bool:
    """Return whether a speed is so far from those ridden that nothing is known of it."""
    low, high = known.seen_mps
    return not low / FAR_FACTOR <= speed_mps <= high * FAR_FACTOR


def load_factor(mass_kg: float, extra_kg: float) -> float:
    """Return the factor on power of an extra load, by the displacement rule.

    Examples
    --------
    >>> round(load_factor(110.0, 10.0), 4)
    1.0597
    """
    return float(((mass_kg + extra_kg) / mass_kg) ** LOAD_EXPONENT)
