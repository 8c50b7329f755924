"""The power sensors of a craft, and which of them the figures rest on.

Each one's energy is counted from the start, so that the choice never loses what came before it.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.efficiency.cumulative import CumulativeCurves
from onboard.efficiency.energy import EnergyMeter
from onboard.efficiency.shared_errors import Spread
from onboard.profile import Sensors

PACKS_MOST = 16
"""More battery instances than this on one craft is a fault in the stream."""

COVERAGE_FRACTION = 0.9
"""The packs' own messages are preferred unless the summary covers clearly more time."""


@dataclass(frozen=True)
class BatterySide:
    """The meters that the figures are the sum of; at least one."""

    meters: tuple[EnergyMeter, ...]

    @property
    def energy_wh(self) -> float:
        """Energy drawn so far [Wh]."""
        return sum(meter.curves.total("energy_wh") for meter in self.meters)

    @property
    def charge_ah(self) -> float:
        """Charge drawn so far [Ah]."""
        return sum(meter.curves.total("charge_ah") for meter in self.meters)

    @property
    def bridged_wh(self) -> float:
        """The part of the energy that lies in gaps of the data [Wh]."""
        return sum(meter.bridged_wh for meter in self.meters)

    @property
    def bridged_variance_wh2(self) -> float:
        """How uncertain that part is [Wh^2]."""
        return sum(meter.bridged_variance_wh2 for meter in self.meters)

    @property
    def first_s(self) -> float:
        """Stream time from which all meters count [s]."""
        return max(meter.curves.first_s or 0.0 for meter in self.meters)

    @property
    def last_s(self) -> float:
        """Stream time up to which all meters count [s]: one that falls silent holds it up."""
        return min(meter.curves.last_s or 0.0 for meter in self.meters)

    @property
    def kept_from_s(self) -> float:
        """Stream time from which all meters remember their totals [s]."""
        return max(meter.curves.kept_from_s or 0.0 for meter in self.meters)

    @property
    def counter_ah(self) -> float:
        """The autopilot's own charge counters, corrected [Ah], NaN where one has none."""
        return sum(meter.counter_ah for meter in self.meters)

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
        """Give the sum of a total of all meters at times [s]; see `EnergyMeter.curves`."""
        total: FloatArray = np.sum([meter.curves.at(name, t_s) for meter in self.meters], axis=0)
        return total

    def between(self, begin_s: float, end_s: float) -> Spread:
        """Give the energy drawn between two stream times [Wh], gaps taken as exact."""
        times = np.array([begin_s, end_s])
        energy = float(np.diff(self.at("energy_wh", times))[0])
        return Spread.of_energy(energy, float(np.diff(self.at("volt_hours", times))[0]))

    def spread(self) -> Spread:
        """Give the energy drawn so far, with what is uncertain of it [Wh]."""
        volt_hours = sum(meter.curves.total("volt_hours") for meter in self.meters)
        return Spread.of_energy(self.energy_wh, volt_hours, self.bridged_variance_wh2)


class PowerSources:
    """All power sensors that the stream reports.

    The choice: the packs that measure both voltage and current, summed; the autopilot's summary of
    its main battery where they cover less than 90 % of the time that it covers.

    Parameters
    ----------
    sensors
        The craft's corrections.
    """

    def __init__(self, sensors: Sensors) -> None:
        self._sensors = sensors
        self._summary = EnergyMeter(sensors)
        self._packs: dict[int, EnergyMeter] = {}

    def fold(self, block: Block) -> None:
        """Take in a block's `power` and `battery` channels."""
        if summary := block.get("power"):
            self._summary.fold(summary.t_s, summary["volts_v"], summary["amps_a"])
        if packs := block.get("battery"):
            for pack in np.unique(packs["pack"]).tolist():
                self._fold_pack(int(pack), packs)

    def chosen(self, at_s: float | None = None) -> BatterySide | None:
        """Give the meters that the figures rest on, None where no current is measured.

        Parameters
        ----------
        at_s
            By what the sensors had covered up to this stream time [s]; None: up to now.
        """
        packs = [self._packs[pack] for pack in sorted(self._packs)]
        packs = [meter for meter in packs if _began(meter, at_s)]
        covered_s = max((_covered_s(meter, at_s) for meter in packs), default=0.0)
        if packs and covered_s >= COVERAGE_FRACTION * _covered_s(self._summary, at_s):
            return BatterySide(tuple(packs))
        return BatterySide((self._summary,)) if _began(self._summary, at_s) else None

    @property
    def packs(self) -> tuple[int, ...]:
        """Give the battery instances whose energy is summed; none where the summary counts."""
        side = self.chosen()
        if side is None or side.meters[0] is self._summary:
            return ()
        return tuple(pack for pack in sorted(self._packs) if self._packs[pack] in side.meters)

    @property
    def unmeasured(self) -> tuple[int, ...]:
        """Battery instances of which voltage and current were never both known."""
        return tuple(
            pack for pack, meter in sorted(self._packs.items()) if meter.curves.first_s is None
        )

    def reached_s(self) -> list[float]:
        """Give the stream time up to which each sensor counts [s]."""
        meters = (self._summary, *self._packs.values())
        return [meter.curves.last_s for meter in meters if meter.curves.last_s is not None]

    def begun(self) -> list[tuple[float, CumulativeCurves]]:
        """Give the stream time from which each sensor counts [s], and what it counts."""
        curves = [meter.curves for meter in (self._summary, *self._packs.values())]
        return [(one.first_s, one) for one in curves if one.first_s is not None]

    def impossible_s(self) -> list[float]:
        """Give the stream times of the last samples that cannot be [s]."""
        meters = (self._summary, *self._packs.values())
        return [t_s for meter in meters for t_s in meter.gate.impossible_s]

    def why_none(self) -> str:
        """Say why no meter can be chosen."""
        meters = (self._summary, *self._packs.values())
        if any(meter.gate.unknown for meter in meters):
            heard_amps = any(meter.heard_amps for meter in meters)
            return f"the power monitor reports no {'voltage' if heard_amps else 'current'}"
        return "no power monitor heard yet"

    def _fold_pack(self, pack: int, channel: Channel) -> None:
        if pack not in self._packs:
            if len(self._packs) == PACKS_MOST:
                return
            self._packs[pack] = EnergyMeter(self._sensors)
        mine = channel["pack"] == pack
        self._packs[pack].fold(
            channel.t_s[mine],
            channel["volts_v"][mine],
            channel["amps_a"][mine],
            channel["charge_out_ah"][mine],
            channel["energy_out_wh"][mine],
        )


def _began(meter: EnergyMeter, at_s: float | None) -> bool:
    first_s = meter.curves.first_s
    return first_s is not None and (at_s is None or first_s <= at_s)


def _covered_s(meter: EnergyMeter, at_s: float | None) -> float:
    curves = meter.curves
    return curves.total("measured_s") if at_s is None else curves.at("measured_s", at_s)
