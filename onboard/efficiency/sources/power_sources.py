"""The power sensors of a craft, and which of them the figures are based on.

The energy of each is counted from its first sample, so that no choice loses what preceded it. At
every decision (`meters/source_rules.py`) a pack is in one of these states:

- *brief*: seen too little so far: in no figure. A stray frame never gets past this. Nothing waits
  for a brief source, so this is decided by the samples up to now alone, not by the meter, in which
  a sample may wait for the next one to show that it is no lone sample.
- *counting*: in all figures. A pack that joins later counts from its first sample; it is assumed to
  have supplied nothing before, as if plugged in at that moment, and the rider is notified.
- *silent*: it carried load and is no longer active, while others are. Power, range and energy left
  are unknown until it is active again or marked as unplugged.
- *out*: silent and marked as unplugged, or silent and negligible. What it supplied stays in the
  sums. It counts again once it has been active for `BRIEF_S`; what a negligible pack supplied in
  between is bridged like any gap, while an unplugged one supplied nothing.
"""

from bisect import bisect_right
from dataclasses import replace

import numpy as np

from onboard.block import Block, Channel, numbers_in
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import (
    BRIEF_S,
    CARRIED_FRACTION,
    CHOICE_S,
    NOTICE_S,
    PACK_COVERAGE_FRACTION,
    PACKS_MOST,
    SILENT_S,
    STALE_READING_S,
)
from onboard.efficiency.meters.energy import EnergyMeter
from onboard.efficiency.meters.source_rules import covered_s, is_brief
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.profile import Sensors

MONITOR = "power monitor"
"""Name of the autopilot's summary of its main battery."""


@dataclass(frozen=True)
class SourceDecision:
    """The states of the sources as decided at a stream time, by the names shown to the rider.

    Parameters
    ----------
    t_s
        Stream time [s].
    brief, joined
        Left out as brief, and joined late, within the last `NOTICE_S`.
    silent, out
        As at the top of the module; `out` without those marked as unplugged.
    unplugged
        Marked as unplugged within the last `NOTICE_S`.
    """

    t_s: float
    brief: tuple[str, ...]
    joined: tuple[str, ...]
    silent: tuple[str, ...]
    out: tuple[str, ...]
    unplugged: tuple[str, ...]


@dataclass(frozen=True)
class _LeftOut:
    """A pack left out: when, the time up to which it counts, and the time it covered [s]."""

    since_s: float
    until_s: float
    covered_s: float
    unplugged: bool


class PowerSources:
    """All power sensors in the stream.

    The packs that measure both voltage and current count, summed; or the autopilot's summary of its
    main battery where they cover less than `PACK_COVERAGE_FRACTION` of its time. The summary
    describes only one pack: it does not replace several that count.

    Parameters
    ----------
    sensors
        The craft's corrections.
    """

    def __init__(self, sensors: Sensors) -> None:
        self._sensors = sensors
        self._summary = EnergyMeter(sensors)
        self._packs: dict[int, EnergyMeter] = {}
        self._out: dict[int, _LeftOut] = {}
        self._silent: set[int] = set()
        self._joined: dict[int, tuple[float, float]] = {}
        """When each pack first counted [s], and the energy of the others by then [Wh]."""
        self._by_packs = False
        self._next_s: float | None = None
        self._sides: list[tuple[float, BatterySide | None]] = []
        """Each change of the choice, with its stream time [s]."""
        self._decisions: list[SourceDecision] = []

    def fold(self, block: Block) -> None:
        """Fold a block's `power` and `battery` channels."""
        if summary := block.get("power"):
            self._summary.fold(summary.t_s, summary["volts_v"], summary["amps_a"])
        if packs := block.get("battery"):
            for pack in numbers_in(packs["pack"]):
                self._fold_pack(pack, packs)

    def chosen(self, at_s: float | None = None) -> BatterySide | None:
        """Return the meters that the figures are based on, None if no current is measured.

        Parameters
        ----------
        at_s
            As decided at or before this stream time [s]; None for the present state.
        """
        if at_s is not None and self._sides and at_s >= self._sides[0][0]:
            return self._sides[bisect_right(self._sides, at_s, key=lambda side: side[0]) - 1][1]
        return self._side(at_s, self._counting(at_s))

    def decide(self, begin_s: float, until_s: float) -> None:
        """Decide which sources count, at each multiple of `CHOICE_S` up to a settled stream time.

        Parameters
        ----------
        begin_s
            Stream time of the very first second [s].
        until_s
            Stream time up to which the data are final [s].
        """
        if self._next_s is None:
            self._next_s = float(np.floor(begin_s / CHOICE_S) * CHOICE_S)
        while self._next_s <= until_s:
            self._decide(self._next_s)
            self._next_s += CHOICE_S

    def take_decisions(self) -> list[SourceDecision]:
        """Return the decisions since the last call."""
        decisions, self._decisions = self._decisions, []
        return decisions

    def unplug(self, pack: int, now_s: float) -> Refusal | None:
        """Mark a pack as unplugged from now on.

        Parameters
        ----------
        pack
            Its instance number.
        now_s
            Stream time [s].

        Returns
        -------
        Refusal or None
            Why it is refused; None when done.
        """
        meter = self._packs.get(pack)
        if meter is None or meter.curves.last_s is None:
            return Refusal(RefusalCode.NEVER_HEARD, source=f"battery {pack}")
        if now_s - meter.last_seen_s <= STALE_READING_S:
            return Refusal(RefusalCode.STILL_HEARD, source=f"battery {pack}")
        others = [
            other for other in self._counting(None) if other != pack and other not in self._out
        ]
        if not others:
            return Refusal(RefusalCode.ONLY_ONE, source=f"battery {pack}")
        meter.unplug()
        since_s = min(now_s, self._out[pack].since_s) if pack in self._out else now_s
        self._out[pack] = _LeftOut(
            since_s, meter.curves.last_s, meter.curves.total("measured_s"), unplugged=True
        )
        self._silent.discard(pack)
        return None

    @property
    def packs(self) -> tuple[int, ...]:
        """Battery instances whose energy is summed; none where the summary counts."""
        side = self.chosen()
        if side is None:
            return ()
        return tuple(pack for pack in sorted(self._packs) if self._packs[pack] in side.all_meters)

    @property
    def unmeasured(self) -> tuple[int, ...]:
        """Battery instances whose voltage and current were never both known."""
        return tuple(
            pack for pack, meter in sorted(self._packs.items()) if meter.curves.first_s is None
        )

    def reached_s(self) -> list[float]:
        """Return the stream time reached by each sensor that may count [s]."""
        return [
            meter.curves.last_s
            for meter in self._meters
            if meter.curves.last_s is not None and not self._is_brief(meter, None)
        ]

    def impossible_s(self) -> list[float]:
        """Return the stream times of the newest impossible samples [s]."""
        return [t_s for meter in self._meters for t_s in meter.gate.impossible_s]

    def why_none(self) -> Reason:
        """Return the reason for having no meter to choose."""
        if any(meter.gate.unknown for meter in self._meters):
            has_current = any(meter.has_current for meter in self._meters)
            return Reason.NO_VOLTAGE if has_current else Reason.NO_CURRENT
        return Reason.NO_POWER_MONITOR

    @property
    def _meters(self) -> tuple[EnergyMeter, ...]:
        return (self._summary, *self._packs.values())

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

    def _side(self, at_s: float | None, counting: list[int]) -> BatterySide | None:
        out = self._out_at(at_s)
        live = [pack for pack in counting if pack not in out]
        if live and self._packs_count(counting, live, at_s):
            return BatterySide(
                tuple(self._packs[pack] for pack in live),
                tuple(f"battery {pack}" for pack in live),
                tuple((self._packs[p], out[p].until_s) for p in counting if p in out),
                tuple(f"battery {pack}" for pack in live if pack in self._silent),
            )
        return BatterySide((self._summary,), (MONITOR,)) if _began(self._summary, at_s) else None

    def _packs_count(self, counting: list[int], live: list[int], at_s: float | None) -> bool:
        """Return whether the packs count, not the autopilot's summary."""
        packs_s = max(covered_s(self._packs[pack].curves, at_s) for pack in counting)
        summary_s = covered_s(self._summary.curves, at_s)
        if len(live) > 1 and self._by_packs:
            return True
        if packs_s < PACK_COVERAGE_FRACTION * summary_s:
            return False
        if len(counting) == 1 and summary_s >= PACK_COVERAGE_FRACTION * packs_s:
            # The summary has covered the same battery all along.
            pack_s, other_s = (_last_s(m, at_s) for m in (self._packs[live[0]], self._summary))
            return pack_s >= other_s - SILENT_S
        return True

    def _decide(self, t_s: float) -> None:
        counting = self._counting(t_s)
        for pack, out in list(self._out.items()):
            if covered_s(self._packs[pack].curves, t_s) - out.covered_s >= BRIEF_S:
                del self._out[pack]
        self._let_in(counting, t_s)
        out_now = self._out_at(t_s)
        live = [pack for pack in counting if pack not in out_now]
        newest_s = max((_last_s(self._packs[pack], t_s) for pack in live), default=t_s)
        for pack in live:
            last_s = _last_s(self._packs[pack], t_s)
            if last_s >= newest_s - SILENT_S:
                self._silent.discard(pack)
            elif pack not in self._silent:
                self._fell_silent(pack, counting, t_s, last_s)
        side = self._side(t_s, counting)
        self._by_packs = side is not None and side.meters[0] is not self._summary
        if not self._sides or self._sides[-1][1] != side:
            self._sides.append((t_s, side))
        self._record(counting, side, t_s)

    def _let_in(self, counting: list[int], t_s: float) -> None:
        """Record the packs that join, and the energy of the others by then."""
        came = [pack for pack in counting if pack not in self._joined]
        if not came:
            return
        before = [pack for pack in counting if pack in self._joined]
        carried_wh = sum(self._carried_wh(pack, t_s) for pack in before)
        self._joined |= dict.fromkeys(came, (t_s if before else -np.inf, carried_wh))

    def _fell_silent(self, pack: int, counting: list[int], t_s: float, last_s: float) -> None:
        own_wh = self._carried_wh(pack, last_s)
        all_wh = (
            sum(self._carried_wh(counted, last_s) for counted in counting) - self._joined[pack][1]
        )
        if own_wh < CARRIED_FRACTION * all_wh:
            until_now_s = covered_s(self._packs[pack].curves, t_s)
            already = self._out.get(pack)
            if already is None:
                self._out[pack] = _LeftOut(t_s, last_s, until_now_s, unplugged=False)
            else:
                # It was marked as unplugged after it fell silent.
                self._out[pack] = replace(already, since_s=t_s)
        else:
            self._silent.add(pack)

    def _carried_wh(self, pack: int, t_s: float) -> float:
        out = self._out.get(pack)
        until_s = t_s if out is None else min(t_s, out.until_s)
        return abs(self._packs[pack].curves.at("energy_wh", until_s))

    def _counting(self, at_s: float | None) -> list[int]:
        """Return the packs that are not brief, in order."""
        return [
            pack
            for pack, meter in sorted(self._packs.items())
            if _began(meter, at_s) and not self._is_brief(meter, at_s)
        ]

    def _is_brief(self, meter: EnergyMeter, at_s: float | None) -> bool:
        return is_brief(meter.seen.covered_s(at_s), lambda: self._most_s(at_s))

    def _most_s(self, at_s: float | None) -> float:
        return max(covered_s(meter.curves, at_s) for meter in self._meters)

    def _out_at(self, at_s: float | None) -> dict[int, _LeftOut]:
        return {pack: out for pack, out in self._out.items() if at_s is None or out.since_s <= at_s}

    def _record(self, counting: list[int], side: BatterySide | None, t_s: float) -> None:
        named = {MONITOR: self._summary} | {
            f"battery {pack}": meter for pack, meter in sorted(self._packs.items())
        }
        brief = tuple(
            name
            for name, meter in named.items()
            if self._is_brief(meter, t_s) and t_s - meter.seen.last_before(t_s) < NOTICE_S
        )
        out = self._out_at(t_s) if self._by_packs else {}
        packs = counting if self._by_packs else []
        self._decisions.append(
            SourceDecision(
                t_s,
                brief,
                tuple(f"battery {p}" for p in packs if t_s - self._joined[p][0] < NOTICE_S),
                () if side is None else side.silent,
                tuple(f"battery {p}" for p in packs if p in out and not out[p].unplugged),
                tuple(
                    f"battery {p}"
                    for p in packs
                    if p in out and out[p].unplugged and t_s - out[p].since_s < NOTICE_S
                ),
            )
        )


def _began(meter: EnergyMeter, at_s: float | None) -> bool:
    first_s = meter.curves.first_s
    return first_s is not None and (at_s is None or first_s <= at_s)


def _last_s(meter: EnergyMeter, at_s: float | None) -> float:
    """Return the time of the last sample up to a stream time [s], minus infinity without."""
    last_s = meter.curves.last_s if at_s is None else meter.curves.last_before(at_s)
    return -np.inf if last_s is None else last_s
