"""A charge: what was counted out of the pack before it, what the meter read, and what is known."""

import math
from collections.abc import Sequence

import numpy as np

from onboard.dataclass import dataclass
from onboard.efficiency.battery.round_trip import Loss, pack_loss
from onboard.efficiency.common_practice import ASSUMED_PACK_OVER_COUNTED, METER_SD_FRACTION
from onboard.efficiency.statistics.shared_errors import COUNT, GAIN, OFFSET, Spread
from onboard.profile import Sensors


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
        Estimate and its standard deviation, independent from charge to charge.
    most_ah
        Upper bound of a further part, of which nothing else is known.

    Notes
    -----
    It is a rider's habit, so alike in every charge: some disconnect the pack, others leave it on,
    and values near 0 and m are likelier than those between. A quantity with such a U-shaped
    distribution from 0 to m has the mean m/2 and the standard deviation m/sqrt(8) (JCGM 101:2008,
    6.4.6).
    """

    charge_ah: float = 0.0
    sd_ah: float = 0.0
    most_ah: float = 0.0

    @property
    def mean_ah(self) -> float:
        """Mean of both parts [Ah]."""
        return self.charge_ah + self.most_ah / 2.0

    @property
    def alike_sd_ah(self) -> float:
        """Standard deviation of what is the same in every charge [Ah]."""
        return self.most_ah / math.sqrt(8.0)

    @property
    def own_sd_ah(self) -> float:
        """Standard deviation of what differs from charge to charge [Ah]."""
        return self.sd_ah


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
