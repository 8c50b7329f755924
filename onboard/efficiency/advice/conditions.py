"""The alerts that the engine raises: one row each.

A row of `CONDITIONS` names the alert, the observation that it is tested on, the test with the
alert's values, and how long the condition must persist before the alert is raised, and be absent
before it is cleared. To add an alert: its row in `onboard.contract.alerts`, and a row here. A row
on columns of a channel names them as its `readings`; thresholds of one row may stand in its test.
Only an alert on something else not observed yet also needs a class in `observations` and a call of
`AlertConditions.observe`.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from onboard.block import Block, FloatArray
from onboard.contract.advice import Standing, Target
from onboard.contract.alerts import Alert, AlertCode, Event
from onboard.contract.codes import Value
from onboard.contract.figure import Number, Unknown, within
from onboard.contract.snapshot import Figures
from onboard.efficiency.advice.condition import Bools, Condition, Outcome, single
from onboard.efficiency.advice.heat_limit import HeatLimit
from onboard.efficiency.advice.observations import (
    AdviceObserved,
    CellsObserved,
    CountersObserved,
    FoulingObserved,
    HeatObserved,
    PackObserved,
    SecondsObserved,
)
from onboard.efficiency.advice.standing_alerts import EVENTS_MOST, Values, Watch
from onboard.efficiency.alert_practice import CELLS_EVEN_AGAIN_FRACTION
from onboard.efficiency.battery.cell_voltages import Cells, CellVoltages
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import (
    COUNTERS_APART_AH,
    COUNTERS_APART_FRACTION,
    CURRENT_DEAD_A,
    CURRENT_STUCK_S,
    CURRENT_STUCK_VOLTS_FRACTION,
    DRIVE_COOLER_DEGC,
    ENERGY_LOW_FRACTION,
    NEAR_CUTOFF_FACTOR,
    UNDER_WAY_MPS,
)
from onboard.efficiency.sources.minutes import REVS, Minutes
from onboard.efficiency.sources.power_sources import SourceDecision
from onboard.efficiency.sources.settled_seconds import Reading, SettledSeconds
from onboard.efficiency.sources.trailing import Trailing
from onboard.profile import Profile

DRIVE_DEGC: Reading = ("drive", "temperature_degc")


def _current_dead(seen: SecondsObserved) -> Outcome:
    seconds = seen.seconds
    dead = (np.abs(seconds.amps_a) < CURRENT_DEAD_A) & (seconds.distance_m > UNDER_WAY_MPS)
    dead &= ~(seconds.throttle_fraction <= 0.05)
    return Outcome(dead)


def _current_stuck(seen: SecondsObserved) -> Outcome:
    amps, volts = seen.past["amps_a"], seen.past["volts_v"]
    stuck = (amps.max(axis=1) == amps.min(axis=1)) & (amps[:, -1] > 1.0)
    stuck &= volts.max(axis=1) - volts.min(axis=1) > CURRENT_STUCK_VOLTS_FRACTION * volts[:, -1]
    return Outcome(stuck)


def _near_cutoff(seen: SecondsObserved) -> Outcome | None:
    if seen.cutoff_v is None:
        return None
    volts = seen.seconds.volts_v
    near = volts < NEAR_CUTOFF_FACTOR * seen.cutoff_v
    return Outcome(near, lambda n: {"volts_v": float(volts[n])})


def _cell_low(seen: CellsObserved) -> Outcome:
    low_v = np.nan_to_num(seen.cells.low_v, nan=np.inf)

    def values(n: int) -> Values:
        pack = int(low_v[n].argmin())
        return _cell(seen.cells, n, pack) | {"cell_v": float(low_v[n, pack])}

    return Outcome(low_v.min(axis=1) < NEAR_CUTOFF_FACTOR * seen.cutoff_v, values)


def _cells_uneven(seen: CellsObserved) -> Outcome:
    cells = seen.cells
    over = np.nan_to_num(cells.apart_v / cells.most_v)

    def values(n: int) -> Values:
        pack = int(over[n].argmax())
        return _cell(cells, n, pack) | {"apart_v": float(cells.apart_v[n, pack])}

    most = over.max(axis=1)
    return Outcome(most > 1.0, values, most > CELLS_EVEN_AGAIN_FRACTION)


def _cell(cells: Cells, n: int, pack: int) -> dict[str, Value]:
    return {"cell": int(cells.low_cell[n, pack]), "source": f"battery {cells.packs[pack]}"}


def _drive_hot(seen: SecondsObserved) -> Outcome:
    degc = seen.seconds.readings[DRIVE_DEGC]
    return Outcome(
        degc > seen.drive_most_degc,
        lambda n: {"temperature_degc": float(degc[n])},
        degc > seen.drive_most_degc - DRIVE_COOLER_DEGC,
    )


def _implausible(seen: SecondsObserved) -> Outcome:
    times = np.sort(np.array(seen.impossible_s))
    upto = np.searchsorted(times, seen.t_s, side="right")
    return Outcome(upto > np.searchsorted(times, seen.t_s - 1.0, side="right"))


def _counters_disagree(seen: CountersObserved) -> Outcome:
    limit_ah = COUNTERS_APART_FRACTION * abs(seen.charge_ah) + COUNTERS_APART_AH
    off = abs(seen.apart_ah) / max(abs(seen.charge_ah), COUNTERS_APART_AH)
    return single(abs(seen.apart_ah) > limit_ah, off_fraction=off)


def _energy_low(seen: PackObserved) -> Outcome:
    low = 0 < seen.left_wh < ENERGY_LOW_FRACTION * seen.full_wh
    return single(low, left_wh=seen.left_wh)


def _cannot_be_made(seen: AdviceObserved) -> Outcome:
    best = beyond_reach(seen.target)
    return single(best is not None, **(best or {}))


def beyond_reach(target: Target | Unknown) -> Values | None:
    """Return the distance to go and the longest range at any speed; None if a speed covers it."""
    if isinstance(target, Unknown) or target.reason.code is not Standing.CANNOT_BE_MADE:
        return None
    return target.reason.values


def _known(reading: Number) -> float | None:
    return None if isinstance(reading, Unknown) else reading


def _left_shown(shown: Figures) -> Values:
    left = within(shown.battery, lambda battery: battery.left_wh)
    return {"left_wh": None if isinstance(left, Unknown) else left.value}


def _degc_shown(shown: Figures) -> Values:
    return {"temperature_degc": _known(within(shown.drive, lambda drive: drive.temperature_degc))}


def _sources(code: AlertCode, names: Callable[[SourceDecision], tuple[str, ...]]) -> Condition[Any]:
    """Return the row of an alert that names sources."""

    def test(seen: SourceDecision) -> Outcome:
        return single(bool(names(seen)), sources=names(seen))

    return Condition(code, SourceDecision, test, 1.0, 1.0, raised_per_change=True)


CONDITIONS: tuple[Condition[Any], ...] = (
    Condition(
        AlertCode.NO_POWER_DATA,
        SecondsObserved,
        lambda seen: Outcome(seen.power_lost),
        hidden_by=AlertCode.SOURCE_SILENT,
    ),
    _sources(AlertCode.SOURCE_SILENT, lambda decision: decision.silent),
    Condition(AlertCode.NO_SPEED, SecondsObserved, lambda seen: Outcome(seen.speed_lost)),
    Condition(AlertCode.CURRENT_DEAD, SecondsObserved, _current_dead, 30.0, 5.0),
    Condition(AlertCode.CURRENT_STUCK, SecondsObserved, _current_stuck, 30.0, 10.0),
    Condition(
        AlertCode.NEAR_CUTOFF,
        SecondsObserved,
        _near_cutoff,
        3.0,
        20.0,
        shown=lambda shown: {"volts_v": _known(shown.volts_v)},
    ),
    Condition(AlertCode.CELL_LOW, CellsObserved, _cell_low, 3.0, 20.0),
    Condition(AlertCode.CELLS_UNEVEN, CellsObserved, _cells_uneven, 30.0, 60.0),
    Condition(
        AlertCode.DRIVE_HOT,
        SecondsObserved,
        _drive_hot,
        3.0,
        10.0,
        shown=_degc_shown,
        readings=(DRIVE_DEGC,),
    ),
    Condition(AlertCode.HEAT_LIMITING, HeatObserved, lambda seen: single(seen.limited), 20.0, 30.0),
    Condition(AlertCode.COUNTERS_DISAGREE, CountersObserved, _counters_disagree, 1.0, 60.0),
    Condition(AlertCode.IMPLAUSIBLE, SecondsObserved, _implausible, 1.0, 60.0),
    _sources(AlertCode.SOURCE_UNPLUGGED, lambda decision: decision.unplugged),
    _sources(AlertCode.SOURCE_LEFT_OUT, lambda decision: decision.out),
    _sources(AlertCode.SOURCE_BRIEF, lambda decision: decision.brief),
    _sources(AlertCode.SOURCE_JOINED, lambda decision: decision.joined),
    Condition(AlertCode.ENERGY_LOW, PackObserved, _energy_low, 10.0, 60.0, shown=_left_shown),
    Condition(
        AlertCode.RESERVE_REACHED, PackObserved, lambda seen: single(seen.left_wh <= 0), 10.0, 60.0
    ),
    Condition(
        AlertCode.BATTERY_CONTRADICTED,
        PackObserved,
        lambda seen: single(seen.contradicted),
        1.0,
        60.0,
    ),
    Condition(
        AlertCode.WEED,
        FoulingObserved,
        lambda seen: single(seen.fouled, more_fraction=seen.excess_fraction),
        1.0,
        1.0,
        readings=REVS,
    ),
    Condition(AlertCode.TURN_BACK, AdviceObserved, lambda seen: single(seen.turn_back), 1.0, 1.0),
    Condition(
        AlertCode.CANNOT_BE_MADE,
        AdviceObserved,
        _cannot_be_made,
        5.0,
        20.0,
        shown=lambda shown: beyond_reach(shown.target),
    ),
)
"""The rows, in the order in which their alerts are listed."""

_TESTED_ON = {
    kind: tuple(row for row in CONDITIONS if row.observation is kind)
    for kind in dict.fromkeys(row.observation for row in CONDITIONS)
}
"""The rows by the observation that they are tested on."""

READINGS = tuple(dict.fromkeys(reading for row in CONDITIONS for reading in row.readings))
"""Columns that settled seconds must carry for the rows."""


class AlertConditions:
    """All conditions of one craft over time.

    Parameters
    ----------
    profile
        The craft.
    cutoff_v
        Voltage at which the pack is empty [V]; None without a battery.
    """

    def __init__(self, profile: Profile, cutoff_v: float | None) -> None:
        self._drive_most_degc = profile.drive.temperature_most_degc
        self._cutoff_v = cutoff_v
        self._watches = {row.code: Watch(row.code, row.on_after_s, row.off_after_s)
                         for row in CONDITIONS}  # fmt: skip
        self._cells = CellVoltages(profile.battery, profile.sensors.voltage_scale)
        self._cell_count = profile.battery.cells if profile.battery else 0
        self._minutes, self._heat = Minutes(), HeatLimit()
        self._trailing = Trailing(CURRENT_STUCK_S, "amps_a", "volts_v")
        self._power_known = self._speed_known = False
        self.events: list[Event] = []

    def fold(self, seconds: SettledSeconds, impossible_s: Sequence[float] = ()) -> None:
        """Fold in settled seconds, and the times of samples rejected as impossible [s]."""
        power, speed = np.isfinite(seconds.power_w), np.isfinite(seconds.east_mps)
        power_lost, self._power_known = _lost(self._power_known, power)
        speed_lost, self._speed_known = _lost(self._speed_known, speed)
        self.observe(
            SecondsObserved(
                seconds.t_s,
                seconds,
                self._trailing.fold(seconds),
                power_lost,
                speed_lost,
                impossible_s,
                self._drive_most_degc,
                self._cutoff_v,
            )
        )
        for t_s, minute in self._minutes.fold(seconds):
            self.observe(HeatObserved(t_s, self._heat.limits(minute)))
        cells = self._cells.at(seconds.t_s)
        if cells is not None and self._cutoff_v is not None:
            self.observe(CellsObserved(seconds.t_s, cells, self._cutoff_v / self._cell_count))

    def fold_block(self, block: Block) -> None:
        """Fold a block's readings that settled seconds do not carry."""
        self._cells.fold(block)

    def observe(self, seen: Any) -> None:
        """Test every condition on an observation; one of a single time stands until the next."""
        t_s = np.atleast_1d(seen.t_s)
        for row in _TESTED_ON[type(seen)]:
            if (outcome := row.test(seen)) is None:
                continue
            watch = self._watches[row.code]
            is_on = watch.on_since_s is not None
            if row.raised_per_change and is_on and watch.values != outcome.values(0):
                self._fold(watch, t_s, Outcome(np.zeros(len(t_s), np.bool_)))
            self._fold(watch, t_s, outcome)

    def observe_pack(self, t_s: float, pack: Pack, power_w: float) -> float:
        """Observe a pack at a power [W]; return the energy left until its low alert [Wh]."""
        seen = PackObserved.of(t_s, pack, power_w)
        self.observe(seen)
        return seen.until_low_wh

    def clear_target(self) -> None:
        """Clear the alert about the previous target."""
        self._watches[AlertCode.CANNOT_BE_MADE].end()

    def change_setup(self, t_s: float) -> None:
        """Forget at a stream time [s] what another set-up took: it is no measure of this one."""
        self.observe(FoulingObserved(t_s, False))
        self._minutes, self._heat = Minutes(), HeatLimit()

    def alerts(self, shown: Figures) -> tuple[Alert, ...]:
        """Return the alerts that are on, in the order of `CONDITIONS`.

        Parameters
        ----------
        shown
            The figures shown beside them.
        """
        found = []
        for row in CONDITIONS:
            if row.hidden_by is not None and self._watches[row.hidden_by].on_since_s is not None:
                continue
            present = None if row.shown is None else row.shown(shown)
            if row.shown is not None and present is None:
                continue
            found.append(self._watches[row.code].alert(shown.t_s, present))
        return tuple(alert for alert in found if alert is not None)

    def _fold(self, watch: Watch, t_s: FloatArray, outcome: Outcome) -> None:
        self.events += watch.fold(t_s, outcome.holds, outcome.values, outcome.stays)
        del self.events[EVENTS_MOST:]


def _lost(known_before: bool, known: Bools) -> tuple[Bools, bool]:
    """Return where a quantity once known is unknown, and whether it has ever been known."""
    before = np.logical_or.accumulate(np.concatenate([[known_before], known]))
    return before[1:] & ~known, bool(before[-1])
