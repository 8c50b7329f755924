"""The battery side: the power meters that count, summed as if they were one."""

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.meters.cumulative import forgotten_s
from onboard.efficiency.meters.energy import EnergyMeter
from onboard.efficiency.statistics.shared_errors import Spread


@dataclass(frozen=True)
class BatterySide:
    """The meters that count now, and those that carried load before they were left out.

    Parameters
    ----------
    meters
        The meters that count now; at least one.
    names
        The name of each.
    left_out
        Meters that carried load and have been left out since, with the stream time up to which each
        counts [s].
    silent
        Names of those among `meters` that carried load and are silent while others are active.
    """

    meters: tuple[EnergyMeter, ...]
    names: tuple[str, ...] = ()
    left_out: tuple[tuple[EnergyMeter, float], ...] = ()
    silent: tuple[str, ...] = ()

    @property
    def all_meters(self) -> tuple[EnergyMeter, ...]:
        """All meters that counted something."""
        return (*self.meters, *(meter for meter, _ in self.left_out))

    @property
    def energy_wh(self) -> float:
        """Energy drawn so far [Wh]."""
        return self._total("energy_wh")

    @property
    def charge_ah(self) -> float:
        """Charge drawn so far [Ah]."""
        return self._total("charge_ah")

    @property
    def bridged_wh(self) -> float:
        """Part of the energy that lies in gaps of the data [Wh]."""
        return sum(meter.bridged_wh for meter in self.all_meters)

    @property
    def bridged_variance_wh2(self) -> float:
        """Variance of that part [Wh^2]."""
        return sum(meter.bridged_variance_wh2 for meter in self.all_meters)

    @property
    def first_s(self) -> float:
        """Stream time of the first sample [s]: a pack added later supplied nothing before."""
        return min(meter.curves.first_s or 0.0 for meter in self.all_meters)

    @property
    def last_s(self) -> float:
        """Stream time up to which all meters count [s]: one that falls silent delays it."""
        return min(meter.curves.last_s or 0.0 for meter in self.meters)

    @property
    def last_seen_s(self) -> float:
        """Stream time up to which all meters were active [s]."""
        return min(meter.last_seen_s for meter in self.meters)

    @property
    def longest_silent(self) -> str:
        """Name of the meter last seen the longest ago; empty if it is the only one."""
        if len(self.meters) == 1:
            return ""
        last_seen_s = [meter.last_seen_s for meter in self.meters]
        return self.names[last_seen_s.index(min(last_seen_s))]

    @property
    def forgotten_s(self) -> float:
        """Stream time before which totals are forgotten [s]; minus infinity if none are."""
        return forgotten_s(meter.curves for meter in self.all_meters)

    @property
    def counter_ah(self) -> float:
        """The autopilot's own charge counters, corrected [Ah], NaN where one has none."""
        return sum(meter.counter_ah for meter in self.all_meters)

    @property
    def counter_began_ah(self) -> float:
        """Reading of those counters when counting began [Ah], NaN where one has none."""
        return sum(meter.counter_began_ah for meter in self.all_meters)

    @property
    def power_w(self) -> float:
        """Power at the newest samples [W]."""
        return sum(meter.volts_v * meter.amps_a for meter in self.meters)

    @property
    def amps_a(self) -> float:
        """Current at the newest samples [A]."""
        return sum(meter.amps_a for meter in self.meters)

    @property
    def volts_v(self) -> float:
        """Voltage of the first pack at its newest sample [V]."""
        return self.meters[0].volts_v

    def at(self, name: str, t_s: FloatArray) -> FloatArray:
        """Return a total of all meters at times [s]; names as in `EnergyMeter.curves`."""
        counting = [meter.curves.at(name, t_s) for meter in self.meters]
        ended = [
            meter.curves.at(name, np.minimum(t_s, until_s)) for meter, until_s in self.left_out
        ]
        total: FloatArray = np.sum(counting + ended, axis=0)
        return total

    def between(self, begin_s: float, end_s: float) -> Spread:
        """Return the energy drawn between two stream times [Wh], bridged gaps taken as exact."""
        times = np.array([begin_s, end_s])
        energy = float(np.diff(self.at("energy_wh", times))[0])
        return Spread.of_energy(energy, float(np.diff(self.at("volt_hours", times))[0]))

    def spread(self) -> Spread:
        """Return the energy drawn so far with its errors [Wh]."""
        volt_hours = self._total("volt_hours")
        return Spread.of_energy(self.energy_wh, volt_hours, self.bridged_variance_wh2)

    def _total(self, name: str) -> float:
        counting = sum(meter.curves.total(name) for meter in self.meters)
        return counting + sum(meter.curves.at(name, until_s) for meter, until_s in self.left_out)
