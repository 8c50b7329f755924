"""The power sensors of a craft, and which of them the figures rest on.

Each one's energy is counted from the start, so that the choice never loses what came before it.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import Block, Channel
from onboard.efficiency.energy import EnergyMeter
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
        return sum(meter.energy_wh.total for meter in self.meters)

    @property
    def charge_ah(self) -> float:
        """Charge drawn so far [Ah]."""
        return sum(meter.charge_ah for meter in self.meters)

    @property
    def bridged_wh(self) -> float:
        """The part of the energy that lies in gaps of the data [Wh]."""
        return sum(meter.bridged_wh for meter in self.meters)

    @property
    def first_s(self) -> float:
        """Stream time from which all meters count [s]."""
        return max(meter.energy_wh.first_s or 0.0 for meter in self.meters)

    @property
    def last_s(self) -> float:
        """Stream time up to which all meters count [s]: one that falls silent holds it up."""
        return min(meter.energy_wh.last_s or 0.0 for meter in self.meters)

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

    def between_wh(self, begin_s: float, end_s: float) -> float:
        """Give the energy drawn between two stream times [Wh]."""
        curves = [meter.energy_wh for meter in self.meters]
        return sum(curve.at(end_s) - curve.at(begin_s) for curve in curves)


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

    def chosen(self) -> BatterySide | None:
        """Give the meters that the figures rest on, None where no current is measured."""
        meters = [self._packs[pack] for pack in sorted(self._packs)]
        packs = tuple(meter for meter in meters if meter.energy_wh.last_s is not None)
        covered_s = max((meter.measured_s for meter in packs), default=0.0)
        if packs and covered_s >= COVERAGE_FRACTION * self._summary.measured_s:
            return BatterySide(packs)
        return BatterySide((self._summary,)) if self._summary.energy_wh.last_s is not None else None

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
