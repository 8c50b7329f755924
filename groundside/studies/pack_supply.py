"""The energy for a plan: one pack or several of a kind, charged as stated."""

import math
from dataclasses import replace
from typing import Protocol

from groundside.studies.trip_practice import (
    COLD_LOSS_PER_K,
    RATED_DEGC,
    RIDDEN_DEGC,
    RIDDEN_OHM_FACTOR,
)
from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.battery.learned_practice import OHM_PER_K
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import CELL_OHM_AH
from onboard.profile import Battery, Sensors


class EnergyLeft(Protocol):
    """Energy that can still be drawn at a power."""

    def __call__(self, power_w: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return energy [Wh] (n,), gradient along shared errors (n, 5), own variance (n,)."""


@dataclass(frozen=True)
class Supply:
    """The energy for a trip.

    Parameters
    ----------
    left_at
        Returns the energy that can be drawn at a power.
    covariance
        Covariance of the shared errors, shape (5, 5).
    volts_v
        Battery voltage about half way.
    """

    left_at: EnergyLeft
    covariance: FloatArray
    volts_v: float


@dataclass(frozen=True)
class Packs:
    """Packs of one kind, emptied one after the other down to the reserve of each.

    Parameters
    ----------
    battery, sensors
        Sections of the craft profile.
    count
        Their number.
    degc
        Temperature of the packs; None if not stated, which is usual weather.
    """

    battery: Battery
    sensors: Sensors
    count: int = 1
    degc: float | None = None

    def supply(self, start_fraction: float | None = None) -> Supply:
        """Return the supply at the start of a trip.

        Parameters
        ----------
        start_fraction
            Charge of each pack; None for the profile's.

        Notes
        -----
        Packs of one kind are rated, charged and modelled alike, so their errors add up linearly.
        """
        battery = _as_ridden(self.battery, self.degc)
        if start_fraction is not None:
            battery = replace(battery, start_fraction=start_fraction)
        pack = Pack(battery, self.sensors)

        def left_at(power_w: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
            energy, gradient, own = pack.left(power_w)
            return self.count * energy, self.count * gradient, self.count**2 * own

        return Supply(left_at, pack.covariance, battery.full_wh / battery.full_ah)


def _as_ridden(battery: Battery, degc: float | None) -> Battery:
    """Return a pack with the capacity and the resistance that a whole trip meets."""
    ohm = battery.resistance_ohm or CELL_OHM_AH * battery.cells / battery.full_ah
    ohm *= RIDDEN_OHM_FACTOR
    if degc is None:
        return replace(battery, resistance_ohm=ohm)
    ohm *= math.exp(OHM_PER_K * (RIDDEN_DEGC - degc))
    given = 1.0 - COLD_LOSS_PER_K * max(RATED_DEGC - degc, 0.0)
    return replace(with_energy(battery, battery.full_wh * given), resistance_ohm=ohm)


def with_energy(battery: Battery, energy_wh: float | None) -> Battery:
    """Return a pack with another energy: same cells in series, more or fewer in parallel."""
    if energy_wh is None:
        return battery
    ratio = energy_wh / battery.full_wh
    ohm = None if battery.resistance_ohm is None else battery.resistance_ohm / ratio
    return replace(battery, energy_wh=energy_wh, capacity_ah=None, resistance_ohm=ohm)
