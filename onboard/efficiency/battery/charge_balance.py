"""Charge and energy that the charger should put back after a counted discharge, with intervals.

Charge depends on the current alone, energy also on the voltage and the pack's losses. The current
sensor's scale is under test, so expectations include every uncertainty except that one.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from onboard.contract.figure import Figure
from onboard.efficiency.battery.round_trip import (
    CHARGE_SD_FRACTION,
    WALL_LEAST,
    WALL_MOST,
    Loss,
    pack_loss,
)
from onboard.efficiency.common_practice import (
    ASSUMED_PACK_OVER_COUNTED,
    CONCLUSIVE_MOST_FRACTION,
    FULL_SD_FRACTION,
    METER_SD_FRACTION,
)
from onboard.efficiency.statistics.shared_errors import COUNT, GAIN, OFFSET, Z_95, Spread
from onboard.profile import Sensors

Fit = Literal["within", "more", "less", "cannot_tell"]


@dataclass(frozen=True)
class Counted:
    """Discharge counted by the sensors between two charges, after the profile's corrections.

    Parameters
    ----------
    charge_ah, energy_wh
        Drawn from the pack.
    sensor_hours_h
        Hours for which a current was counted, summed over sensors.
    volt_hours_vh
        Time integral of the voltage, summed over sensors.
    bridged_variance_wh2
        Variance of the energy interpolated over gaps in the data.
    flowing_a
        Charge-weighted mean current; losses depend on it.
    """

    charge_ah: float
    energy_wh: float
    sensor_hours_h: float
    volt_hours_vh: float
    bridged_variance_wh2: float = 0.0
    flowing_a: float = 0.0

    @property
    def mean_v(self) -> float:
        """Charge-weighted mean voltage [V]."""
        return self.energy_wh / self.charge_ah

    @property
    def bridged_variance_ah2(self) -> float:
        """Variance of the charge interpolated over gaps in the data [Ah^2]."""
        return self.bridged_variance_wh2 / self.mean_v**2

    def charge_spread(self) -> Spread:
        """Return the charge [Ah] with its uncertainty, the sensor's scale included."""
        gradient = np.zeros(COUNT)
        gradient[GAIN], gradient[OFFSET] = self.charge_ah, self.sensor_hours_h
        return Spread(self.charge_ah, gradient, self.bridged_variance_ah2)

    def energy_spread(self) -> Spread:
        """Return the energy [Wh] with its uncertainty, the sensor's scale included."""
        return Spread.of_energy(self.energy_wh, self.volt_hours_vh, self.bridged_variance_wh2)


def added(parts: Sequence[Counted]) -> Counted:
    """Return the sum over several rides."""
    charge_ah = sum(part.charge_ah for part in parts)
    flowing = sum(part.flowing_a * part.charge_ah for part in parts)
    return Counted(
        charge_ah,
        sum(part.energy_wh for part in parts),
        sum(part.sensor_hours_h for part in parts),
        sum(part.volt_hours_vh for part in parts),
        sum(part.bridged_variance_wh2 for part in parts),
        flowing / charge_ah if charge_ah else 0.0,
    )


@dataclass(frozen=True)
class Unlogged:
    """Charge drawn unrecorded between two charges.

    Parameters
    ----------
    charge_ah, sd_ah
        Estimate and its standard deviation.
    most_ah
        Upper bound of a further part, uniform from zero: it widens the upper side only.
    """

    charge_ah: float = 0.0
    sd_ah: float = 0.0
    most_ah: float = 0.0


@dataclass(frozen=True)
class Charge:
    """One charge: the discharge counted before it, and the meter's reading.

    Parameters
    ----------
    counted
        Over all rides since the previous charge.
    charged_ah, charged_wh
        Put back by the charger; None where not read.
    full_to_full
        Whether the pack is known to have been full before and after.
    unlogged
        Charge drawn besides.
    """

    counted: Counted
    charged_ah: float | None
    charged_wh: float | None
    full_to_full: bool
    unlogged: Unlogged


@dataclass(frozen=True)
class Conditions:
    """Known data of pack, meter and sensors.

    Parameters
    ----------
    sensors
        The profile's corrections, as they were when the charge was counted.
    pack_ah
        Charge of the full pack; None where the profile states none.
    chemistry
        One of `CHEMISTRIES`; None where the profile states none.
    at_wall
        Whether the meter was at the wall, before the charger.
    meter_sd_fraction
        Relative standard deviation of the meter.
    charge_a
        Mean current of the charger; None if unknown.
    """

    sensors: Sensors
    pack_ah: float | None = None
    chemistry: str | None = None
    at_wall: bool = False
    meter_sd_fraction: float = METER_SD_FRACTION
    charge_a: float | None = None

    def loss(self, counted: Counted) -> Loss:
        """Return the pack's loss at the known rates."""
        if self.pack_ah is None:
            return pack_loss(self.chemistry)
        charge_per_h = None if self.charge_a is None else self.charge_a / self.pack_ah
        return pack_loss(self.chemistry, counted.flowing_a / self.pack_ah, charge_per_h)


def size_ah(pack_ah: float | None, counted: Counted) -> float:
    """Return the full pack's charge [Ah], estimated from the charge counted if not stated."""
    return pack_ah or ASSUMED_PACK_OVER_COUNTED * counted.charge_ah


def expected_ah(charges: Sequence[Charge], conditions: Conditions) -> Figure:
    """Return the charge expected back if the current sensor's scale is right [Ah].

    Parameters
    ----------
    charges
        One or more; their sum is returned.
    conditions
        Known data of pack, meter and sensors.
    """
    value = sum(charge.counted.charge_ah + charge.unlogged.charge_ah for charge in charges)
    shared = value * math.hypot(CHARGE_SD_FRACTION, conditions.meter_sd_fraction)
    hours = sum(charge.counted.sensor_hours_h for charge in charges)
    offset = conditions.sensors.current_offset_sd_a * hours
    own = sum(own_variance_ah2(charge, conditions) for charge in charges)
    reach = Z_95 * math.sqrt(shared**2 + offset**2 + own)
    most = sum(charge.unlogged.most_ah for charge in charges)
    return Figure(value, max(value - reach, 0.0), value + reach + most)


def own_variance_ah2(charge: Charge, conditions: Conditions) -> float:
    """Return the variance of a charge's balance that is independent of other charges [Ah^2]."""
    full_ah = FULL_SD_FRACTION * size_ah(conditions.pack_ah, charge.counted)
    return charge.counted.bridged_variance_ah2 + full_ah**2 + charge.unlogged.sd_ah**2


def expected_wh(charges: Sequence[Charge], conditions: Conditions) -> Figure:
    """Return the energy expected back if the current sensor's scale is right [Wh].

    Parameters
    ----------
    charges
        One or more; their sum is returned.
    conditions
        Known data of pack, meter and sensors; with a meter at the wall, its reading is expected.
    """
    drawn = sum(_drawn_wh(charge) for charge in charges)
    if conditions.at_wall:
        factor, reach = (WALL_MOST + WALL_LEAST) / 2, (WALL_MOST - WALL_LEAST) / 2
        below = above = drawn * reach
    else:
        losses = [(_drawn_wh(charge), conditions.loss(charge.counted)) for charge in charges]
        factor = 1.0 + sum(wh * loss.fraction for wh, loss in losses) / drawn
        above = Z_95 * sum(wh * loss.sd for wh, loss in losses)
        below = min(above, drawn * (factor - 1.0))  # a pack never returns more than it took
    value = drawn * factor
    shared = value * math.hypot(
        CHARGE_SD_FRACTION, conditions.meter_sd_fraction, conditions.sensors.voltage_scale_sd
    )
    volt_hours = sum(charge.counted.volt_hours_vh for charge in charges)
    offset = factor * conditions.sensors.current_offset_sd_a * volt_hours
    own = factor**2 * sum(
        own_variance_ah2(charge, conditions) * charge.counted.mean_v**2 for charge in charges
    )
    half_width = Z_95 * math.sqrt(shared**2 + offset**2 + own)
    most = factor * sum(charge.unlogged.most_ah * charge.counted.mean_v for charge in charges)
    low, high = math.hypot(half_width, below), math.hypot(half_width, above) + most
    return Figure(value, max(value - low, 0.0), value + high)


def _drawn_wh(charge: Charge) -> float:
    return charge.counted.energy_wh + charge.unlogged.charge_ah * charge.counted.mean_v


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
