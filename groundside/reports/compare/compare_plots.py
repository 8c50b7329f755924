"""Pictures of a comparison; each function draws into one matplotlib axes."""

import string
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from groundside.reports.drawing import DOT, INK, LINE, Drawing, explain
from groundside.reports.text_layout import short_names
from groundside.words.units import Units
from onboard.block import FloatArray
from onboard.contract.figure import Figure
from onboard.dataclass import dataclass
from onboard.efficiency.trial.equal_power import at_power
from onboard.efficiency.trial.results import Comparison

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PAUSE_MIN = 10.0
"""Gap drawn between outings [min]."""
FAINT = "#8a8f94"
LETTERS = [f"{a}{b}" for a in ("", *"ABCDEFGH") for b in string.ascii_uppercase]
"""Marks of the set-ups in the pictures."""
NO_WATER = "none: a steady current cancels round a lap"


@dataclass(frozen=True)
class _Runs:
    """The runs over time.

    Parameters
    ----------
    minutes
        Middle of each leg, since the first one began, pauses between outings shortened; (legs,).
    letter
        Letter of each leg's set-up, in the order of the ranking; `-` if it is not in it; (legs,).
    sign
        1 for legs along the first course, -1 for those back; (legs,).
    water_mps
        The water along the first course, between the double runs by interpolation; (legs,).
    """

    minutes: FloatArray
    letter: list[str]
    sign: FloatArray
    water_mps: FloatArray


def drawings(found: Comparison, units: Units) -> list[tuple[str, Drawing]]:
    """Return the pictures of a comparison: a caption and a function that draws it, for each.

    Parameters
    ----------
    found
        The comparison.
    units
        The rider's units.
    """
    runs = _runs(found)
    return [
        (
            "How far each set-up is behind the best at equal power, with 95 % intervals",
            lambda axes: draw_differences(axes, found),
        ),
        (
            "Double runs and laps over time, corrected for power and water, each with the letter "
            "of its set-up; crosses were left out",
            lambda axes: draw_runs(axes, found, runs, units),
        ),
        (
            "Power held in each run: mean, and its standard deviation within the run",
            lambda axes: draw_power(axes, found, runs),
        ),
        (
            "Water current along the first course, taken out of each run; crosses were left out",
            lambda axes: draw_water(axes, found, runs, units),
        ),
    ]


def draw_differences(axes: "Axes", found: Comparison) -> None:
    """Draw how far each set-up is behind the best; a line separates those surely apart."""
    axes.set_title("behind the best")
    names = short_names(one.name for one in found.places)
    for n, one in enumerate(found.places):
        behind = one.behind_fraction
        if n and one.group != found.places[n - 1].group:
            axes.axhline(n - 0.5, color=FAINT, lw=0.8)
        if not isinstance(behind, Figure):
            words = axes.annotate("unknown", (0.0, n), va="center")
            words.set_parse_math(False)
            continue
        if behind.low is not None and behind.high is not None:
            axes.plot([100 * behind.low, 100 * behind.high], [n, n], color=LINE, lw=2.0)
        axes.plot(100 * behind.value, n, "o", color=LINE)
    axes.axvline(0.0, color=INK, lw=0.8, ls=":")
    axes.set_yticks(range(len(found.places)))
    labels = [f"{names[one.name]}  {LETTERS[n]}" for n, one in enumerate(found.places)]
    for label in axes.set_yticklabels(labels):
        label.set_parse_math(False)
    axes.grid(visible=False, axis="y")
    axes.set_ylim(len(found.places) - 0.5, -0.5)
    axes.set_xlabel("more Wh/km than the best [%]")


def draw_runs(axes: "Axes", found: Comparison, runs: _Runs, units: Units) -> None:
    """Draw the consumption of each double run and lap at equal power against time."""
    axes.set_title("runs over time")
    evidence = found.evidence
    counted = [
        (list(one.legs), float(speed))
        for one, speed in zip(evidence.doubles, evidence.speed_mps, strict=True)
    ]
    freed = _freed_mps(found, runs)
    for legs, speed in counted:
        at = float(runs.minutes[legs].mean()), _cost(found, speed, units)
        _ring(axes, at, runs.letter[legs[0]])
    for one in evidence.left_out:
        speed = float(np.dot(freed[list(one.legs)], one.weights))
        _cross(axes, runs, list(one.legs), _cost(found, speed, units))
    for alone in evidence.unpaired:
        speed = float(freed[alone.leg])
        if speed > 0.0:
            _cross(axes, runs, [alone.leg], _cost(found, speed, units))
    axes.margins(0.08)
    axes.set_xlabel("time since the first run [min]")
    axes.set_ylabel(f"{units.consumption_name} at {found.power_w:.0f} W")


def draw_power(axes: "Axes", found: Comparison, runs: _Runs) -> None:
    """Draw the power of each run against its number."""
    axes.set_title("power held")
    legs = found.evidence.legs
    for n, one in enumerate(legs, 1):
        half = one.power_swing_fraction * one.power_w
        axes.plot([n, n], [one.power_w - half, one.power_w + half], color=LINE, lw=1.5)
        _ring(axes, (float(n), one.power_w), runs.letter[n - 1])
    axes.axhline(found.power_w, color=INK, lw=0.8, ls=":")
    axes.margins(0.08)
    axes.set_xlabel("run")
    axes.set_ylabel("battery power [W]")


def draw_water(axes: "Axes", found: Comparison, runs: _Runs, units: Units) -> None:
    """Draw the water along the first course against time."""
    axes.set_title("water taken out")
    straight = [n for n, one in enumerate(found.evidence.legs) if one.lap_m == 0.0]
    known = [n for n in straight if np.isfinite(found.evidence.water.along_mps[n])]
    if not known:
        explain(axes, NO_WATER)
        return
    speed = [units.speed(float(runs.water_mps[n])) for n in known]
    axes.plot(runs.minutes[known], speed, "o", color=LINE, ms=4.0)
    left = [n for n in straight if n not in known]
    if left:
        missing = [units.speed(float(runs.water_mps[n])) for n in left]
        axes.plot(runs.minutes[left], missing, "x", color=DOT)
    axes.axhline(0.0, color=INK, lw=0.8, ls=":")
    axes.margins(0.08)
    axes.set_xlabel("time since the first run [min]")
    axes.set_ylabel(f"along the first course [{units.speed_name}]")


def _runs(found: Comparison) -> _Runs:
    legs = found.evidence.legs
    letter = {one.name: LETTERS[n] for n, one in enumerate(found.places)}
    minutes, begin_s, offset_min = [], legs[0].start_s, 0.0
    for n, one in enumerate(legs):
        if n and one.outing != legs[n - 1].outing:
            before = legs[n - 1]
            offset_min += (before.start_s + before.seconds_s - begin_s) / 60.0 + PAUSE_MIN
            begin_s = one.start_s
        minutes.append(offset_min + (one.middle_s - begin_s) / 60.0)
    east, north = (np.array([getattr(one, name) for one in legs]) for name in _VELOCITY)
    first = next((n for n, one in enumerate(legs) if one.lap_m == 0.0), 0)
    sign = np.where(east * east[first] + north * north[first] < 0.0, -1.0, 1.0)
    along = found.evidence.water.along_mps * sign
    known = np.isfinite(along)
    time = np.array(minutes)
    water = np.interp(time, time[known], along[known]) if known.any() else np.zeros(len(legs))
    return _Runs(time, [letter.get(one.setup, "-") for one in legs], sign, water)


_VELOCITY = ("east_mps", "north_mps")


def _freed_mps(found: Comparison, runs: _Runs) -> FloatArray:
    """Return the speed of each leg at equal power and in still water, shape (legs,)."""
    legs = found.evidence.legs
    straight = np.array([one.lap_m == 0.0 for one in legs])
    along = runs.water_mps * runs.sign * straight
    through = np.array([one.speed_mps for one in legs]) - along
    scaled = at_power(legs, through, found.power_w, found.slope.value) - along
    return np.asarray(scaled, np.float64)


def _cost(found: Comparison, speed_mps: float, units: Units) -> float:
    return units.consumption(found.power_w / 3.6 / max(speed_mps, 1e-3))


def _ring(axes: "Axes", at: tuple[float, float], letter: str) -> None:
    """Draw the letter of a set-up in a ring."""
    axes.plot(*at, "o", color=LINE, fillstyle="none", markersize=12, markeredgewidth=0.8)
    axes.annotate(letter, at, ha="center", va="center", fontsize="small")


def _cross(axes: "Axes", runs: _Runs, legs: Sequence[int], cost: float) -> None:
    at = float(runs.minutes[list(legs)].mean()), cost
    axes.plot(*at, "x", color=DOT, markersize=9, markeredgewidth=2.0)
    words = "run " + ", ".join(str(n + 1) for n in legs)
    axes.annotate(words, at, (8, 0), textcoords="offset points", va="center", fontsize="small")
