"""Pairs of statements on one screen that cannot both be true.

A statement that is unknown contradicts nothing. Where two figures are computed at different powers,
or advice is evaluated more rarely than figures, a tolerance stands beside the check. Each
contradiction is a line: its kind, a colon, and the values.
"""

import dataclasses
import math
from collections.abc import Callable, Iterator
from typing import Any

from onboard.contract.advice import Standing, Target, WayHome
from onboard.contract.alerts import AlertCode
from onboard.contract.battery import BatteryState
from onboard.contract.figure import Figure, Unknown
from onboard.contract.snapshot import Figures

SURE = 0.99
"""Chance from which a distance is sure."""

SURE_Z, END_Z = 2.326348, 1.959964
"""99 % quantile of the normal distribution, and 97.5 %, at the ends of a 95 % interval (tables)."""

SLACK = 0.01
"""Relative difference that counts as none: figures are interpolated, and evaluated up to a few
seconds apart."""

POWER_SLACK, LEAST_WH = 0.1, 2.0
"""Energy left at one power and at another: share of it, and at least so much [Wh]."""

AT_REST_MPS = 0.3
REACTION_S = 60.0
"""Time to see the advice to turn back, and to turn [s]."""

AT_HOME_M = 50.0

SIGNED = frozenset(
    {
        "margin_wh", "difference_fraction", "east_mps", "north_mps", "covariance_m2ps2",
        "position_deg", "temperature_degc",
    }
)  # fmt: skip
"""Figures that may be negative."""

OVER_ONE = frozenset({"difference_fraction", "scatter_fraction"})
"""Fractions that may exceed 1."""


def contradictions(figures: Figures) -> list[str]:
    """Return the contradictions among figures shown together."""
    return [line for check in CHECKS for line in check(figures)]


def kind_of(line: str) -> str:
    """Return the kind of a contradiction."""
    return line.split(":", 1)[0]


def _form(figures: Figures) -> Iterator[str]:
    """No figure is infinite, negative where that means nothing, or outside its own interval."""
    for path, value in _numbers(figures, ""):
        name = path.rsplit(".", 1)[-1]
        parts = [value] if isinstance(value, float) else [value.value, value.low, value.high]
        known = [part for part in parts if part is not None]
        if not all(math.isfinite(part) for part in known):
            yield f"not finite: {path} {known}"
        elif name not in SIGNED and min(known) < 0.0:
            yield f"negative: {path} {known}"
        elif name.endswith("_fraction") and name not in OVER_ONE and max(known) > 1.0 + 1e-9:
            yield f"more than all: {path} {known}"
        if isinstance(value, Figure):
            low = value.value if value.low is None else value.low
            high = value.value if value.high is None else value.high
            if not low <= value.value <= high:
                yield f"outside its interval: {path} {known}"


def _numbers(part: Any, path: str) -> Iterator[tuple[str, float | Figure]]:
    if isinstance(part, Figure | float):
        yield path, part
    elif dataclasses.is_dataclass(part):
        for field in dataclasses.fields(part):
            yield from _numbers(getattr(part, field.name), f"{path}.{field.name}".lstrip("."))
    elif isinstance(part, tuple):
        for one in part:
            yield from _numbers(one, path)


def _energy(figures: Figures) -> Iterator[str]:
    """Energy left, range and time left end together."""
    left = _left(figures)
    if left is None:
        return
    for name, known in (("range", figures.range_m.now), ("time left", figures.time_left_s)):
        if isinstance(known, Figure):
            if left.value == 0.0 < known.value:
                yield f"{name} without energy: {known.value:.0f}"
            if known.value == 0.0 < left.value - LEAST_WH:
                yield f"energy without {name}: {left.value:.0f} Wh"
    on = {alert.code for alert in figures.alerts}
    if AlertCode.RESERVE_REACHED in on and (left.low or 0.0) > LEAST_WH:
        yield f"reserve reached with energy left: at least {left.low:.0f} Wh"
    reach, lasts, fastest = figures.range_m.now, figures.time_left_s, figures.trip.max_speed_mps
    if isinstance(reach, Unknown) or isinstance(lasts, Unknown) or isinstance(fastest, Unknown):
        return
    if reach.value > lasts.value * fastest * (1.0 + SLACK):
        yield f"range at a speed never ridden: {reach.value:.0f} m in {lasts.value:.0f} s"


def _ranges(figures: Figures) -> Iterator[str]:
    """No way of riding goes further than the best."""
    best = figures.range_m.best
    if not isinstance(best, Figure):
        return
    for name, reach in (("now", figures.range_m.now), ("target", figures.range_m.target)):
        if isinstance(reach, Figure) and reach.value > best.value * (1.0 + SLACK):
            yield f"range {name} above the best: {reach.value:.0f} over {best.value:.0f} m"


def _chance(figures: Figures) -> Iterator[str]:
    """The chance at this speed is that of the range being longer than the distance to go."""
    target, reach = _distance(figures), figures.range_m.now
    if target is None or isinstance(target.confidence_fraction, Unknown):
        return
    chance, to_go = target.confidence_fraction, float(target.distance_m)  # type: ignore[arg-type]
    if isinstance(reach, Unknown):
        yield f"chance without a range: {chance:.2f}"
        return
    if reach.low is not None and reach.low >= to_go * (1.0 + SLACK) and chance < 0.97:
        yield f"chance below a sure range: {chance:.2f}, {reach.low:.0f} of {to_go:.0f} m"
    if reach.high is not None and reach.high <= to_go * (1.0 - SLACK) and chance > 0.03:
        yield f"chance above a range too short: {chance:.2f}, {reach.high:.0f} of {to_go:.0f} m"
    if reach.value >= to_go * (1.0 + 2.0 * SLACK) and chance < 0.48:
        yield f"chance low with range to spare: {chance:.2f}, {reach.value:.0f} of {to_go:.0f} m"
    if reach.value <= to_go * (1.0 - 2.0 * SLACK) and chance > 0.52:
        yield f"chance high with too little range: {chance:.2f}, {reach.value:.0f} of {to_go:.0f} m"


def _standing(figures: Figures) -> Iterator[str]:
    """'Cannot be made' means that no speed is sure, this one included."""
    on = {alert.code for alert in figures.alerts}
    target = _distance(figures)
    if target is None:
        if AlertCode.CANNOT_BE_MADE in on:
            yield "alert cannot_be_made without a distance:"
        return
    to_go = float(target.distance_m)  # type: ignore[arg-type]
    if target.reason.code is not Standing.CANNOT_BE_MADE:
        if AlertCode.CANNOT_BE_MADE in on:
            yield f"alert cannot_be_made where it can: {target.reason.code.code}"
        reach = figures.range_m.target
        if isinstance(reach, Unknown) or reach.low is None or target.reason.code not in SURE_SPEED:
            return
        # At the speed advised the distance is sure: beyond the interval's end.
        if reach.low < to_go * (1.0 - SLACK):
            yield f"advised speed not sure: {reach.low:.0f} of {to_go:.0f} m"
        return
    chance, best_m = target.confidence_fraction, float(target.reason.values["best_m"])  # type: ignore[arg-type]
    if isinstance(chance, float) and chance >= SURE:
        yield f"sure at this speed and cannot be made: {chance:.3f}"
    if best_m > to_go * (1.0 + SLACK):
        yield f"cannot be made though more is sure: {best_m:.0f} of {to_go:.0f} m"
    now, best = figures.range_m.now, figures.range_m.best
    if isinstance(now, Figure) and now.low is not None:
        sure_m = now.value - (now.value - now.low) * SURE_Z / END_Z
        if best_m < sure_m * (1.0 - SLACK):
            yield f"less sure at best than at this speed: {best_m:.0f} below {sure_m:.0f} m"
    if isinstance(best, Figure) and best_m > (best.low or best.value) * (1.0 + SLACK):
        yield f"more sure at best than its range: {best_m:.0f} over {best.low:.0f} m"


SURE_SPEED = frozenset({Standing.AGAINST_ADVISED})
"""What a cue rests on where there is a speed at which the distance is sure."""


def _cue(figures: Figures) -> Iterator[str]:
    """The cue says what to change for the distance to be sure."""
    target = _distance(figures)
    if target is None or isinstance(target.cue, Unknown):
        return
    speed, cue, chance = figures.speed_mps, target.cue, target.confidence_fraction
    if isinstance(speed, float) and speed < AT_REST_MPS:
        yield f"cue at rest: {cue}"
    if isinstance(figures.range_m.now, Unknown):
        yield f"cue without a range: {cue}, {figures.range_m.now}"
    if isinstance(chance, Unknown):
        return
    if cue == "ease" and chance >= 0.5 * (1.0 + SURE):
        yield f"ease where it is sure: {chance:.3f}"
    if cue == "hold" and chance < SURE - 0.05 and target.reason.code is not Standing.CANNOT_BE_MADE:
        yield f"hold where it is not sure: {chance:.2f}"
    if cue == "push":
        if chance >= SURE:
            yield f"push where it is sure: {chance:.3f}"
        elif not _slower_endangers(figures, target):
            yield f"push where it is not sure: {chance:.2f}, {target.reason.code.code}"


def _slower_endangers(figures: Figures, target: Target) -> bool:
    """Return whether the craft goes slower than at its best, where every metre costs more."""
    best = figures.best_speed_mps
    if target.reason.code is Standing.CANNOT_BE_MADE:
        best = Figure(float(target.reason.values["best_speed_mps"]))  # type: ignore[arg-type]
    speed = figures.speed_mps
    return isinstance(speed, float) and isinstance(best, Figure) and speed < best.value


def _home(figures: Figures) -> Iterator[str]:
    """The margin is what is left less the way home, and turning back follows from it."""
    home, left = figures.home, _left(figures)
    alert = any(one.code is AlertCode.TURN_BACK for one in figures.alerts)
    if isinstance(home, Unknown):
        if alert:
            yield f"alert turn_back without a way home: {home}"
        return
    if alert is not (home.turn_back is True):
        yield f"alert turn_back beside home: {alert}, {home.turn_back}"
    margin, energy = home.margin_wh, home.energy_wh
    if isinstance(margin, Unknown) or isinstance(energy, Unknown) or left is None:
        return
    ends = (margin.low, margin.high, energy.low, energy.high, left.low, left.high)
    if any(end is None for end in ends):
        return
    margin_low, margin_high, _, energy_high, left_low, left_high = map(float, ends)  # type: ignore[arg-type]
    reach = POWER_SLACK * left.value + LEAST_WH
    if abs(left.value - energy.value - margin.value) > reach:
        yield (
            f"margin is not the difference: {margin.value:.0f} of {left.value:.0f} less"
            f" {energy.value:.0f} Wh"
        )
    if margin_high > left_high + reach:
        yield f"margin above all that is left: {margin_high:.0f} over {left_high:.0f} Wh"
    if margin_low < left_low - energy_high - reach:
        yield (
            f"margin below the worst case: {margin_low:.0f} below {left_low:.0f} less"
            f" {energy_high:.0f} Wh"
        )
    if home.distance_m > AT_HOME_M:
        yield from _turning_back(home, energy, margin)


def _turning_back(home: WayHome, energy: Figure, margin: Figure) -> Iterator[str]:
    # Until the rider reacts the craft goes on outward: that distance twice.
    speed = 0.0 if isinstance(home.speed_mps, Unknown) else home.speed_mps
    reaction_wh = 2.0 * energy.value * REACTION_S * speed / home.distance_m
    if home.turn_back is True and margin.low is not None and margin.low > reaction_wh + LEAST_WH:
        yield f"turn back with energy to spare: {margin.low:.0f} Wh at least"
    if home.turn_back is False and margin.value < -LEAST_WH:
        yield f"no turn back with too little: {margin.value:.0f} Wh"


def _left(figures: Figures) -> Figure | None:
    battery = figures.battery
    if isinstance(battery, BatteryState) and isinstance(battery.left_wh, Figure):
        return battery.left_wh
    return None


def _distance(figures: Figures) -> Target | None:
    """Return the target if it is a distance that is not made yet."""
    target = figures.target
    if isinstance(target, Unknown) or isinstance(target.distance_m, Unknown):
        return None
    return None if target.reason.code is Standing.DISTANCE_MADE else target


CHECKS: tuple[Callable[[Figures], Iterator[str]], ...] = (
    _form, _energy, _ranges, _chance, _standing, _cue, _home,
)  # fmt: skip
