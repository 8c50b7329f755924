"""The energy for a plan: one pack or several of a kind, charged as stated."""

from dataclasses import dataclass, replace
from typing import Protocol

from onboard.block import FloatArray
from onboard.efficiency.battery.pack import Pack
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
    """

    battery: Battery
    sensors: Sensors
    count: int = 1

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
        battery = self.battery
        if start_fraction is not None:
            battery = replace(battery, start_fraction=start_fraction)
        pack = Pack(battery, self.sensors)

        def left_at(power_w: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
            energy, gradient, own = pack.left(power_w)
            return self.count * energy, self.count * gradient, self.count**2 * own

        return Supply(left_at, pack.covariance, battery.full_wh / battery.full_ah)


def with_energy(battery: Battery, energy_wh: float | None) -> Battery:
    """Return a pack with another energy: same cells in series, more or fewer in parallel."""
    if energy_wh is None:
        return battery
    ratio = energy_wh / battery.full_wh
    ohm = None if battery.resistance_ohm is None else battery.resistance_ohm / ratio
    return replace(battery, energy_wh=energy_wh, capacity_ah=None, resistance_ohm=ohm)
