"""True values of a voyage: energy used, and energy left, found by riding on until empty."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tests.craft.battery import Battery, OverloadError, rest_energy_wh
from tests.craft.chance import Array
from tests.craft.step import COLUMNS
from tests.craft.voyage import Voyage

VOLTS, CHARGE = COLUMNS.index("volts_v"), COLUMNS.index("charge_fraction")


@lru_cache(maxsize=64)
def reserve_charge(battery: Battery, reserve_fraction: float) -> float:
    """Return the charge fraction at which only the reserve of the full energy is left."""
    wanted_wh = reserve_fraction * rest_energy_wh(battery, 1.0)
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if rest_energy_wh(battery, middle) < wanted_wh:
            low = middle
        else:
            high = middle
    return high


def carry_on(voyage: Voyage, reserve_fraction: float, cutoff_v: float) -> str:
    """Ride on as before; return 'reserve' or 'cut-off', or 'time' if neither was reached."""
    empty = reserve_charge(voyage.ride.craft.battery, reserve_fraction)
    try:
        while voyage.index < voyage.count:
            row = voyage.one_step()
            if row[CHARGE] <= empty:
                return "reserve"
            if row[VOLTS] < cutoff_v:
                return "cut-off"
    except OverloadError:
        return "cut-off"
    return "time"


@dataclass(frozen=True)
class Track:
    """Running totals at each step.

    Distance is the length of the track while not made fast. Waves move the craft along its course
    and lengthen the track by less than 1e-4, so this is also the track without waves.
    """

    step_s: float
    energy_wh: Array
    distance_m: Array
    charge_ah: Array

    @classmethod
    def of(cls, voyage: Voyage) -> "Track":
        """Return the totals of a voyage."""
        columns = voyage.columns()
        speed = np.hypot(columns["east_mps"], columns["north_mps"]) * (1.0 - columns["made_fast"])
        power = columns["volts_v"] * columns["amps_a"]

        def total(rate: Array, per: float) -> Array:
            steps = 0.5 * (rate[1:] + rate[:-1]) * (voyage.step_s / per)
            return np.concatenate([[0.0], np.cumsum(steps)])

        return cls(
            voyage.step_s,
            total(power, 3600.0),
            total(speed, 1.0),
            total(columns["amps_a"], 3600.0),
        )

    def wh_per_km(self, at: int, window_s: float | None = None) -> float | None:
        """Return Wh/km over the window that ends at a step, or since the start without a window."""
        first = 0 if window_s is None else max(at - round(window_s / self.step_s), 0)
        made_m = float(self.distance_m[at] - self.distance_m[first])
        used_wh = float(self.energy_wh[at] - self.energy_wh[first])
        return used_wh / made_m * 1000.0 if made_m > 1.0 else None
