"""The power meters whose sum the figures rest on, as if they were one."""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.meters.energy import EnergyMeter
from onboard.efficiency.statistics.shared_errors import Spread


@dataclass(frozen=True)
class BatterySide:
    """Meters that count now, and what others carried before they were left out.

    Parameters
    ----------
    meters
        That count now; at least one.
    names
        What each is called.
    left
        Those that carried something and are left out by now, with the stream time up to which they
        count [s].
    silent
        Names of those among the meters that carried something and are not heard while others are.
    """

    meters: tuple[EnergyMeter, ...]
    names: tuple[str, ...] = ()
    left: tuple[tuple[EnergyMeter, float], ...] = ()
    silent: tuple[str, ...] = ()

    @property
    def every(self) -> tuple[EnergyMeter, ...]:
        """All meters that something was counted by."""
        return (*self.meters, *(meter for meter, _ in self.left))

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
        """The part of the energy that lies in gaps of the data [Wh]."""
        return sum(meter.bridged_wh for meter in self.every)

    @property
    def bridged_variance_wh2(self) -> float:
        """How uncertain that part is [Wh^2]."""
        return sum(meter.bridged_variance_wh2 for meter in self.every)

    @property
    def first_s(self) -> float:
        """Stream time from which it is counted [s]: a pack that came later gave nothing before."""
        return min(meter.curves.first_s or 0.0 for meter in self.every)

    @property
    def last_s(self) -> float:
        """Stream time up to which all meters count [s]: one that falls silent holds it up."""
        return min(meter.curves.last_s or 0.0 for meter in self.meters)

    @property
    def heard_s(self) -> float:
        """Stream time up to which all meters were heard [s]."""
        return min(meter.heard_s for meter in self.meters)

    @property
    def quietest(self) -> str:
        """What the meter is called that was heard last the longest ago; empty if it is the only."""
        if len(self.meters) == 1:
            return ""
        heard = [meter.heard_s for meter in self.meters]
        return self.names[heard.index(min(heard))]

    @property
    def forgotten_s(self) -> float:
        """Stream time before which a meter has forgotten its totals [s], where one has."""
        spans = ((meter.curves.first_s, meter.curves.kept_from_s) for meter in self.every)
        lost = (kept_s for first_s, kept_s in spans if kept_s is not None and kept_s != first_s)
        return max(lost, default=-np.inf)

    @property
    def counter_ah(self) -> float:
        """The autopilot's own charge counters, corrected [Ah], NaN where one has none."""
        return sum(meter.counter_ah for meter in self.every)

    @property
    def counter_began_ah(self) -> float:
        """What those would have shown when counting began [Ah], NaN where one has none."""
        return sum(meter.counter_began_ah for meter in self.every)

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
        """Return the sum of a total of all meters at times [s]; see `EnergyMeter.curves`."""
        parts = [meter.curves.at(name, t_s) for meter in self.meters]
        parts += [meter.curves.at(name, np.minimum(t_s, until_s)) for meter, until_s in self.left]
        total: FloatArray = np.sum(parts, axis=0)
        return total

    def between(self, begin_s: float, end_s: float) -> Spread:
        """Return the energy drawn between two stream times [Wh], gaps taken as exact."""
        times = np.array([begin_s, end_s])
        energy = float(np.diff(self.at("energy_wh", times))[0])
        return Spread.of_energy(energy, float(np.diff(self.at("volt_hours", times))[0]))

    def spread(self) -> Spread:
        """Return the energy drawn so far, with what is uncertain of it [Wh]."""
        volt_hours = self._total("volt_hours")
        return Spread.of_energy(self.energy_wh, volt_hours, self.bridged_variance_wh2)

    def _total(self, name: str) -> float:
        counting = sum(meter.curves.total(name) for meter in self.meters)
        return counting + sum(meter.curves.at(name, until_s) for meter, until_s in self.left)
