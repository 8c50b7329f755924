"""Content of the runs view: the set-up in force, the open run, earlier runs, the next step.

Which set-up is better is left to `compare`; here a rider sees whether a run will count.
"""

import math
from collections.abc import Callable

from groundside.dashboard.content.double_runs import next_step
from groundside.dashboard.content.ride import difference_text
from groundside.dashboard.content.setups import setup_in_force
from groundside.dashboard.view_state import ViewState
from groundside.words.figures import (
    UNKNOWN,
    consumption_text,
    interval_text,
    one_decimal,
    speed_text,
    whole,
)
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.alerts import AlertCode
from onboard.contract.figure import Number, Unknown, within
from onboard.contract.snapshot import Run, Snapshot, Steady
from onboard.dataclass import dataclass

LONG_ENOUGH_S = 30.0
"""Settled time at which the bar is full [s]; the daemon decides whether a run is long enough."""
BAR_STEPS = 60
STANDING_W = 20.0
"""Battery power below which the motor hardly turns [W]: electronics alone draw a few watts. Common
practice, no source."""

FULL_SIGN, SHORT_SIGN = "█", "░"
LONG, SHORT = "long enough", "too short"
RULE = (
    "A fair run: one battery power, one straight course, half a minute settled; then the same back."
)
RULE_MORE = (
    "Change one thing at a time, go A B B A, and keep load, trim and speed of turns alike."
    " The review says whether a difference is real."
)


@dataclass(frozen=True)
class RunLine:
    """A run that has ended, as texts; `within` is the short form of the interval."""

    number: str
    setup: str
    seconds: str
    power: str
    speed: str
    course: str
    consumption: str
    interval: str = ""
    within: str = ""
    long_enough: bool = False


@dataclass(frozen=True)
class OpenRun:
    """The open run: its duration, its steady time, and whether that suffices."""

    number: str
    setup: str
    seconds: str
    steady: str
    why: str = ""
    fraction: float = 0.0
    long_enough: bool = False
    more: str = ""


@dataclass(frozen=True)
class PowerCue:
    """Battery power against the power target: the cue, or why there is none."""

    power: str
    target: str = ""
    difference: str = ""
    cue: str = ""


@dataclass(frozen=True)
class RunsContent:
    """The content of the runs view at one moment."""

    setup: str
    steady: str
    power_cue: PowerCue
    next: str
    open: OpenRun | None = None
    missing: str = ""
    lines: tuple[RunLine, ...] = ()
    speed_name: str = ""
    consumption_name: str = ""
    stale: bool = False
    why_no_runs: str = ""


def runs_content(state: ViewState) -> RunsContent:
    """Return the content of the runs view."""
    snapshot, units = state.snapshot, state.units
    runs, now_open = snapshot.runs, open_run(snapshot)
    return RunsContent(
        setup=setup_in_force(snapshot),
        steady=_steady(snapshot.steady, units, state.stale),
        power_cue=power_cue(snapshot, units, state.stale),
        next=next_step(runs, setup_in_force(snapshot)) or RULE,
        open=_open(now_open, snapshot.steady, units) if now_open is not None else None,
        missing=missing(snapshot, units) if now_open is not None and not state.stale else "",
        lines=tuple(_line(run, units) for run in reversed(runs) if not run.open),
        speed_name=units.speed_name,
        consumption_name=units.consumption_name,
        stale=state.stale,
        why_no_runs=why_no_runs(state),
    )


def open_run(snapshot: Snapshot) -> Run | None:
    """Return the open run; None if there is none."""
    return next((run for run in reversed(snapshot.runs) if run.open), None)


def asks_for_charge(snapshot: Snapshot) -> bool:
    """Return whether the daemon asks if the pack was charged."""
    return any(alert.code is AlertCode.CHARGE_UNSAID for alert in snapshot.alerts)


def missing(snapshot: Snapshot, units: Units) -> str:
    """Return what a run started now would lack; empty if nothing."""
    parts = []
    if not setup_in_force(snapshot):
        parts.append("no set-up named")
    power, turns = snapshot.power_w, within(snapshot.drive, lambda drive: drive.rpm)
    if not isinstance(turns, Unknown):
        stopped = abs(turns) < 1.0
    else:
        stopped = not isinstance(power, Unknown) and power < STANDING_W
    if stopped:
        parts.append("the motor is stopped")
    elif isinstance(power, Unknown):
        parts.append(f"battery power is unknown ({reason_text(power, units)})")
    return " and ".join(parts)


def why_no_runs(state: ViewState) -> str:
    """Return why no run can be started or marked here; empty if one can."""
    if state.can_command:
        return ""
    if state.can_seek:
        return "A saved ride: its runs are shown; none can be started."
    return "No daemon takes marks here: runs are shown; none can be started."


def _steady(steady: Steady, units: Units, stale: bool) -> str:
    if stale:
        return "steady or not: the data are stale"
    power, speed = steady.power_w, steady.speed_mps
    if isinstance(power, Unknown) and steady.seconds_s <= 0.0:
        return f"not steady: {reason_text(power, units)}"
    parts = [f"steady for {math.floor(steady.seconds_s)} s"]
    if not isinstance(power, Unknown):
        parts.append(f"{whole(power)} W")
    if not isinstance(speed, Unknown):
        parts.append(speed_text(speed, units))
    return "  ".join(parts)


def power_cue(snapshot: Snapshot, units: Units, stale: bool) -> PowerCue:
    """Return the power against its target."""
    power, target = snapshot.power_w, snapshot.target
    now = UNKNOWN if isinstance(power, Unknown) or stale else f"{whole(power)} W"
    if isinstance(target, Unknown) or isinstance(target.power_w, Unknown):
        return PowerCue(now)
    wanted, cue, difference = f"{whole(target.power_w)} W", target.cue, target.difference_fraction
    if stale:
        return PowerCue(now, wanted, "no cue: stale")
    if not isinstance(power, Unknown) and power < STANDING_W:
        # Hands may be at the propeller: nothing may ask for power.
        return PowerCue(now, wanted, "no cue: the motor is stopped")
    if isinstance(cue, Unknown):
        return PowerCue(now, wanted, f"no cue: {reason_text(cue, units)}")
    if isinstance(difference, Unknown):
        return PowerCue(now, wanted, f"no cue: {reason_text(difference, units)}")
    return PowerCue(now, wanted, difference_text(difference), cue)


def _open(run: Run, steady: Steady, units: Units) -> OpenRun:
    why = more = ""
    if not run.long_enough:
        left = math.ceil(LONG_ENOUGH_S - run.steady_s)
        more = f"{left} s more" if left > 0 else "a little more"
        if run.steady_s < 1.0 and isinstance(steady.power_w, Unknown):
            why = reason_text(steady.power_w, units)
    # a bar that looked full too soon would make riders end a run too early
    share = 1.0 if run.long_enough else min(run.steady_s / LONG_ENOUGH_S, 0.95)
    return OpenRun(
        number=str(run.number),
        setup=run.setup,
        seconds=_seconds(run.seconds_s),
        steady=_seconds(run.steady_s),
        why=why,
        fraction=math.floor(max(0.0, share) * BAR_STEPS) / BAR_STEPS,
        long_enough=run.long_enough,
        more=more,
    )


def _line(run: Run, units: Units) -> RunLine:
    cost = reading(run.wh_per_km, units)
    reaches = ""
    if cost.value is not None and cost.low is not None and cost.high is not None:
        # rounded up: the short form never claims more than the long one
        reach = units.consumption(max(cost.high - cost.value, cost.value - cost.low))
        if reach < math.inf:
            reaches = f"±{math.ceil(reach - 1e-9)}"
    return RunLine(
        number=str(run.number),
        setup=run.setup or UNKNOWN,
        seconds=_seconds(run.seconds_s),
        power=_or_unknown(run.power_w, whole),
        speed=_or_unknown(run.speed_mps, lambda speed: one_decimal(units.speed(speed))),
        course=_or_unknown(run.course_deg, lambda course: f"{round(course) % 360:03d}"),
        consumption=UNKNOWN if cost.value is None else consumption_text(cost.value, units),
        interval=interval_text(cost, lambda end: consumption_text(end, units)),
        within=reaches,
        long_enough=run.long_enough,
    )


def _or_unknown(figure: Number, write: Callable[[float], str]) -> str:
    return UNKNOWN if isinstance(figure, Unknown) else write(figure)


def _seconds(seconds: float) -> str:
    return whole(math.floor(max(0.0, seconds)))
