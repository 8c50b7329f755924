"""What the runs view says: the set-up in force, the open run, the runs so far, and what is next.

Which set-up is better is for the review to tell; here a rider sees whether a run is fit to count.
"""

import math
from dataclasses import dataclass
from typing import Any

from groundside.dashboard.faces.double_runs import next_step
from groundside.dashboard.faces.ride import CUES, difference_text
from groundside.dashboard.faces.setups import is_part, listed, setup_in_force
from groundside.dashboard.scene import Scene
from groundside.figures import (
    UNKNOWN,
    consumption_text,
    number,
    one_decimal,
    part,
    reading,
    text_of,
    whole,
)
from groundside.source import Snapshot
from groundside.units import Units

LONG_ENOUGH_S = 30.0
"""Where the bar is full [s]; whether a run is long enough is the daemon's to say."""
BAR_STEPS = 60
STANDING_W = 20.0
"""Below this battery power the motor hardly turns: electronics alone draw a few watts. Common
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
    """A run that has ended, as texts; `within` is its interval in its short form."""

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
    """The run that is open: how long it is settled, of how long, and whether that will do."""

    number: str
    setup: str
    seconds: str
    steady: str
    why: str = ""
    fraction: float = 0.0
    long_enough: bool = False
    more: str = ""


@dataclass(frozen=True)
class Held:
    """The battery power now against the power target: the cue's word, or none with the reason."""

    power: str
    target: str = ""
    difference: str = ""
    cue: str = ""


@dataclass(frozen=True)
class RunsFace:
    """All that the runs view says at one moment."""

    setup: str
    steady: str
    held: Held
    next: str
    open: OpenRun | None = None
    missing: str = ""
    lines: tuple[RunLine, ...] = ()
    speed_name: str = ""
    consumption_name: str = ""
    stale: bool = False
    silent: str = ""


def runs_face(scene: Scene) -> RunsFace:
    """Make all that the runs view says."""
    snapshot, units = scene.snapshot, scene.units
    runs = runs_of(snapshot)
    now_open = open_run(snapshot)
    return RunsFace(
        setup=setup_in_force(snapshot),
        steady=_steady(snapshot, units, scene.stale),
        held=_held(snapshot, scene.stale),
        next=next_step(runs, setup_in_force(snapshot)) or RULE,
        open=_open(now_open, snapshot) if now_open is not None else None,
        missing=missing(snapshot) if now_open is not None and not scene.stale else "",
        lines=tuple(_line(run, units) for run in reversed(runs) if run.get("open") is not True),
        speed_name=units.speed_name,
        consumption_name=units.consumption_name,
        stale=scene.stale,
        silent=silent(scene),
    )


def runs_of(snapshot: Snapshot | None) -> list[dict[str, Any]]:
    """Give the runs of a snapshot, the oldest first."""
    return [run for run in listed((snapshot or {}).get("runs")) if is_part(run)]


def open_run(snapshot: Snapshot | None) -> dict[str, Any] | None:
    """Give the run that is open, if any."""
    return next((run for run in reversed(runs_of(snapshot)) if run.get("open") is True), None)


def asks_for_charge(snapshot: Snapshot | None) -> bool:
    """Tell whether the daemon asks if the pack was charged."""
    alerts = listed((snapshot or {}).get("alerts"))
    return any(is_part(one) and one.get("code") == "charge_unsaid" for one in alerts)


def missing(snapshot: Snapshot | None) -> str:
    """Say what a run that is started now lacks; empty where it lacks nothing."""
    said = []
    if not setup_in_force(snapshot):
        said.append("no set-up label")
    turns, power = reading(snapshot, "drive", "rpm"), reading(snapshot, "power_w")
    if turns.value is not None:
        stopped = abs(turns.value) < 1.0
    else:
        stopped = power.value is not None and power.value < STANDING_W
    if stopped:
        said.append("the motor is stopped")
    elif power.value is None:
        said.append(f"battery power is unknown ({power.why})")
    return " and ".join(said)


def silent(scene: Scene) -> str:
    """Say why nothing can be started or marked here; empty where it can."""
    if scene.can_talk:
        return ""
    if scene.can_seek:
        return "A saved ride: its runs are shown; none can be started."
    return "No daemon takes marks here: runs are shown; none can be started."


def _steady(snapshot: Snapshot | None, units: Units, stale: bool) -> str:
    if stale:
        return "steady or not: the data are stale"
    steady = part(snapshot, "steady")
    seconds = number(steady.get("seconds_s"))
    if seconds is None:
        return f"not steady: {reading(snapshot, 'steady').why}"
    said = [f"steady for {math.floor(seconds)} s"]
    power, speed = number(steady.get("power_w")), number(steady.get("speed_mps"))
    if power is not None:
        said.append(f"{whole(power)} W")
    if speed is not None:
        said.append(f"{one_decimal(units.speed(speed))} {units.speed_name}")
    return "  ".join(said)


def _held(snapshot: Snapshot | None, stale: bool) -> Held:
    power = reading(snapshot, "power_w")
    now = UNKNOWN if power.value is None or stale else f"{whole(power.value)} W"
    target = part(snapshot, "target")
    wanted = number(target.get("power_w"))
    if wanted is None:
        return Held(now)
    difference, word = number(target.get("difference_fraction")), target.get("cue")
    if stale or difference is None or word not in CUES:
        why = "stale" if stale else reading(target, "cue").why
        return Held(now, f"{whole(wanted)} W", f"no cue: {why}")
    return Held(now, f"{whole(wanted)} W", difference_text(difference), str(word))


def _open(run: dict[str, Any], snapshot: Snapshot | None) -> OpenRun:
    steady, seconds = number(run.get("steady_s")), number(run.get("seconds_s"))
    long_enough = run.get("long_enough") is True
    why = more = ""
    if steady is None:
        why = reading(run, "steady_s").why
    elif not long_enough:
        left = math.ceil(LONG_ENOUGH_S - steady)
        more = f"{left} s more" if left > 0 else "a little more"
        if steady < 1.0:
            why = text_of(part(snapshot, "why").get("steady"))
    # a bar that looks full and is not would end a run too early
    share = 1.0 if long_enough else min((steady or 0.0) / LONG_ENOUGH_S, 0.95)
    return OpenRun(
        number=_count(run.get("number")),
        setup=text_of(run.get("setup")),
        seconds=_seconds(seconds),
        steady=_seconds(steady),
        why=why,
        fraction=math.floor(max(0.0, share) * BAR_STEPS) / BAR_STEPS,
        long_enough=long_enough,
        more=more,
    )


def _line(run: dict[str, Any], units: Units) -> RunLine:
    power, speed = number(run.get("power_w")), number(run.get("speed_mps"))
    course, cost = number(run.get("course_deg")), reading(run, "wh_per_km")
    consumption = interval = within = ""
    if cost.value is not None:
        consumption = consumption_text(cost.value, units)
        if cost.low is not None and cost.high is not None:
            low, high = consumption_text(cost.low, units), consumption_text(cost.high, units)
            interval = f"{low} to {high}"
            # rounded up: the short form never promises more than the long one
            reach = units.consumption(max(cost.high - cost.value, cost.value - cost.low))
            within = f"±{math.ceil(reach - 1e-9)}"
    return RunLine(
        number=_count(run.get("number")),
        setup=text_of(run.get("setup")) or UNKNOWN,
        seconds=_seconds(number(run.get("seconds_s"))),
        power=UNKNOWN if power is None else whole(power),
        speed=UNKNOWN if speed is None else one_decimal(units.speed(speed)),
        course=UNKNOWN if course is None else f"{round(course) % 360:03d}",
        consumption=consumption or UNKNOWN,
        interval=interval,
        within=within,
        long_enough=run.get("long_enough") is True,
    )


def _seconds(seconds: float | None) -> str:
    return UNKNOWN if seconds is None else whole(math.floor(max(0.0, seconds)))


def _count(raw: Any) -> str:
    value = number(raw)
    return UNKNOWN if value is None else whole(value)
