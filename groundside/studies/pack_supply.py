"""The energy supply for a plan from a full pack."""

from dataclasses import replace

from groundside.studies.plan import Supply
from onboard.efficiency.battery.pack import Pack
from onboard.profile import Battery, Sensors


def supply_of(battery: Battery, sensors: Sensors) -> Supply:
    """Return the supply of a pack at the start of a trip, as stated in the profile.

    Parameters
    ----------
    battery, sensors
        Sections of the craft profile.
    """
    pack = Pack(battery, sensors)
    return Supply(pack.left, pack.covariance, battery.full_wh / battery.full_ah)


def with_energy(battery: Battery, energy_wh: float | None) -> Battery:
    """Return a pack with another energy: same cells in series, more or fewer in parallel."""
    if energy_wh is None:
        return battery
    ratio = energy_wh / battery.full_wh
    ohm = None if battery.resistance_ohm is None else battery.resistance_ohm / ratio
    return replace(battery, energy_wh=energy_wh, capacity_ah=None, resistance_ohm=ohm)
