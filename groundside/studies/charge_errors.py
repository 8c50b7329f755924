"""What makes the charge and the energy put back uncertain, source by source, over several charges.

An error is either the same in every charge, as the meter's gain is, and does not average out, or
one charge's own, as the repeatability of 'full' is. Charge depends on the current alone, energy
also on the voltage and the pack's losses. The current sensor's scale is under test, so it is no
source here.
"""

import math
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Literal

import numpy as np

from groundside.studies.charge_balance import Charge, Conditions, size_ah
from onboard.block import FloatArray
from onboard.contract.figure import Figure
from onboard.dataclass import dataclass
from onboard.efficiency.battery.round_trip import CHARGE_SD_FRACTION, WALL_LEAST, WALL_MOST
from onboard.efficiency.common_practice import CONCLUSIVE_MOST_FRACTION, FULL_SD_FRACTION
from onboard.efficiency.statistics.shared_errors import Z_95

METER_ALIKE = 0.85
"""Share of the variance of a meter's error that is the same in every charge: its gain; the rest is
resolution, temperature, and the moment of reading. Common practice, no source."""

Fit = Literal["within", "more", "less", "cannot_tell"]


class Source(StrEnum):
    """What an amount is uncertain by."""

    METER = "meter"
    RETURNED = "returned_charge"
    FULL = "full"
    UNLOGGED = "unlogged"
    GAPS = "gaps"
    ZERO = "current_offset"
    VOLTAGE = "voltage_scale"
    LOSSES = "pack_losses"
    CHARGER = "charger"


@dataclass(frozen=True)
class Part:
    """The errors of one source, of shape (n,) for n charges, in the unit of the amount.

    Parameters
    ----------
    alike
        Standard deviation of what is the same in every charge.
    own
        Standard deviation of what is independent from charge to charge.
    """

    alike: FloatArray
    own: FloatArray

    def variance(self, weights: FloatArray) -> float:
        """Return the variance of a weighted sum over charges, for weights of shape (n,)."""
        return float(weights @ self.alike) ** 2 + float(weights**2 @ self.own**2)

    def covariance(self) -> FloatArray:
        """Return the covariance of the charges, shape (n, n)."""
        return np.outer(self.alike, self.alike) + np.diag(self.own**2)

    def times(self, factors: FloatArray) -> "Part":
        """Return the errors of amounts in another unit."""
        return Part(self.alike * factors, self.own * factors)


Parts = Mapping[Source, Part]


@dataclass(frozen=True)
class Expected:
    """An amount expected back, and the variance that each source gives it."""

    figure: Figure
    variances: Mapping[Source, float]


def charge_parts(charges: Sequence[Charge], back_ah: FloatArray, conditions: Conditions) -> Parts:
    """Return the errors of the charge put back [Ah].

    Parameters
    ----------
    charges
        The charges.
    back_ah
        Charge put back, shape (n,): as read, or as expected [Ah].
    conditions
        Known data of pack, meter and sensors.
    """
    none = np.zeros(len(charges))
    sizes = np.array([size_ah(conditions.pack_ah, one.counted) for one in charges])
    hours = np.array([one.counted.sensor_hours_h for one in charges])
    return {
        **_meter(back_ah, conditions),
        Source.FULL: Part(none, FULL_SD_FRACTION * sizes),
        Source.UNLOGGED: Part(
            np.array([one.unlogged.alike_sd_ah for one in charges]),
            np.array([one.unlogged.own_sd_ah for one in charges]),
        ),
        Source.GAPS: Part(
            none, np.sqrt(np.array([one.counted.bridged_variance_ah2 for one in charges]))
        ),
        Source.ZERO: Part(conditions.sensors.current_offset_sd_a * hours, none),
    }


def _meter(back: FloatArray, conditions: Conditions) -> dict[Source, Part]:
    meter = conditions.meter_sd_fraction * back
    return {
        Source.METER: Part(math.sqrt(METER_ALIKE) * meter, math.sqrt(1.0 - METER_ALIKE) * meter),
        Source.RETURNED: Part(CHARGE_SD_FRACTION * back, 0.0 * back),
    }


def expected_ah(charges: Sequence[Charge], conditions: Conditions) -> Expected:
    """Return the charge expected back if the current sensor's scale is right [Ah].

    Parameters
    ----------
    charges
        One or more; their sum is returned.
    conditions
        Known data of pack, meter and sensors.
    """
    back_ah = np.array([one.counted.charge_ah + one.unlogged.mean_ah for one in charges])
    variances = _of_sum(charge_parts(charges, back_ah, conditions))
    value, reach = float(back_ah.sum()), Z_95 * math.sqrt(sum(variances.values()))
    return Expected(Figure(value, max(value - reach, 0.0), value + reach), variances)


def expected_wh(charges: Sequence[Charge], conditions: Conditions) -> Expected:
    """Return the energy expected back if the current sensor's scale is right [Wh].

    Parameters
    ----------
    charges
        One or more; their sum is returned.
    conditions
        Known data of pack, meter and sensors; with a meter at the wall, its reading is expected.
    """
    volts = np.array([one.counted.mean_v for one in charges])
    drawn = np.array(
        [one.counted.energy_wh + one.unlogged.mean_ah * one.counted.mean_v for one in charges]
    )
    if conditions.at_wall:
        source = Source.CHARGER
        lost = np.full(len(drawn), (WALL_MOST + WALL_LEAST) / 2 - 1.0)
        sds = np.full(len(drawn), (WALL_MOST - WALL_LEAST) / 2 / Z_95)
    else:
        source = Source.LOSSES
        losses = [conditions.loss(one.counted) for one in charges]
        lost = np.array([loss.fraction for loss in losses])
        sds = np.array([loss.sd for loss in losses])
    factors, none = 1.0 + lost, np.zeros(len(drawn))
    back = drawn * factors
    in_ah = charge_parts(charges, none, conditions)
    volt_hours = np.array([one.counted.volt_hours_vh for one in charges])
    variances = _of_sum(
        {
            **{key: part.times(factors * volts) for key, part in in_ah.items()},
            **_meter(back, conditions),
            Source.ZERO: Part(factors * conditions.sensors.current_offset_sd_a * volt_hours, none),
            Source.VOLTAGE: Part(conditions.sensors.voltage_scale_sd * back, none),
            source: Part(drawn * sds, none),
        }
    )
    value, above = float(back.sum()), Z_95 * math.sqrt(variances[source])
    others = Z_95 * math.sqrt(sum(variances.values()) - variances[source])
    below = min(above, float(drawn @ lost))  # a pack never returns more than it took
    figure = Figure(
        value, max(value - math.hypot(others, below), 0.0), value + math.hypot(others, above)
    )
    return Expected(figure, variances)


def _of_sum(parts: Parts) -> dict[Source, float]:
    return {source: part.variance(np.ones(len(part.own))) for source, part in parts.items()}


def fits(came_back: float, expected: Figure) -> Fit:
    """Return how the charger's amount compares with the expectation.

    Examples
    --------
    >>> fits(10.6, Figure(10.0, 9.8, 10.3)), fits(10.2, Figure(10.0, 9.8, 10.3))
    ('more', 'within')
    >>> fits(10.2, Figure(10.0, 7.0, 13.0))
    'cannot_tell'
    """
    low = -math.inf if expected.low is None else expected.low
    high = math.inf if expected.high is None else expected.high
    if came_back > high:
        return "more"
    if came_back < low:
        return "less"
    reach = max(high - expected.value, expected.value - low)
    return "within" if reach <= CONCLUSIVE_MOST_FRACTION * expected.value else "cannot_tell"
