"""Content of the home view: whether home is in reach, where it lies, how much energy is left."""

import math
from typing import Literal

from groundside.dashboard.content.ride import BigFigureContent, CueContent, big_distance
from groundside.dashboard.drawing.home_arrow import STEP_DEG
from groundside.dashboard.view_state import ViewState
from groundside.words.directions import Turn, turn_to
from groundside.words.figures import (
    Reading,
    duration_text,
    in_brackets,
    interval_text,
    one_decimal,
    speed_text,
    whole,
)
from groundside.words.mending import mend_text
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from groundside.words.water import water_text
from onboard.contract.advice import WayHome
from onboard.contract.figure import Unknown
from onboard.dataclass import dataclass

CAUTIONS = (
    "Estimate. Keep a reserve and a paddle.",
    "Estimate: wind and water change. Keep a reserve, heed local rules, carry a paddle.",
    "All of this is an estimate: wind and water change. Keep a reserve, heed the local rules, and "
    "carry a way to move without the motor. Distance and bearing are a straight line: land and "
    "shallows on it are not looked at.",
)
"""Cautions from brief to full; one of them is always shown."""

AT_HOME_M = 30.0
"""Distance within which no direction is shown and the advice to turn back ends [m]."""

UNTIL_KNOWN = "Until it is known, turn back before half the energy is used."
"""Common practice, no source."""

DISTANCE, MARGIN = "to home", "to spare"
NO_FIGURE = BigFigureContent()

Verdict = Literal["enough", "only just", "not enough", "turn back", "not known", "STALE"]


@dataclass(frozen=True)
class HomeContent:
    """The content of the home view at one moment.

    Parameters
    ----------
    verdict
        The answer in a word.
    why
        Why the way home is not known; empty if it is known.
    distance, margin
        The big figures.
    arrow_deg
        Direction of the arrow, in steps, 0 being ahead; None for no arrow.
    turn
        Which way to turn, in brief and in full.
    cost
        Cost of the way, in two parts: energy, and time with its speed.
    water
        Set and drift.
    do
        Advice, one sentence each.
    old
        Whether the data are too old to ride by.
    """

    verdict: Verdict = "not known"
    why: str = ""
    distance: BigFigureContent = NO_FIGURE
    margin: BigFigureContent = NO_FIGURE
    arrow_deg: int | None = None
    turn: tuple[str, str] = ("", "")
    cost: tuple[str, str] = ("", "")
    water: str = ""
    do: tuple[str, ...] = ()
    old: bool = False

    @property
    def cue(self) -> CueContent:
        """The cue to turn back with the advice; empty if it is not time yet."""
        return CueContent("turn", self.do) if self.verdict == "turn back" else CueContent()


def home_content(state: ViewState) -> HomeContent:
    """Return the content of the home view."""
    home, units, old = state.snapshot.home, state.units, state.stale
    water = water_text(state.snapshot.set_and_drift, units) if state.started else ""
    if isinstance(home, Unknown):
        mend = mend_text(home)
        return HomeContent(
            verdict="STALE" if old else "not known",
            why=reason_text(home, units),
            distance=BigFigureContent(unit=units.distance_name, label=DISTANCE),
            margin=BigFigureContent(unit="Wh", label=MARGIN),
            water=water,
            do=(mend, UNTIL_KNOWN) if mend else (UNTIL_KNOWN,),
            old=old,
        )
    there = home.distance_m < AT_HOME_M
    turn = Turn() if old else turn_to(home.bearing_deg, state.snapshot)
    verdict = _verdict(home)
    shown: Verdict = "STALE" if old and verdict != "turn back" else verdict
    arrow_deg = None
    if turn.angle_deg is not None and not there:
        arrow_deg = STEP_DEG * round(turn.angle_deg / STEP_DEG) % 360
    return HomeContent(
        verdict=shown,
        distance=_big_distance(home.distance_m, units, old=old),
        margin=_big_energy(reading(home.margin_wh, units), old=old),
        arrow_deg=arrow_deg,
        turn=_turn_texts(turn, home.bearing_deg, there=there, old=old),
        cost=_cost(home, units),
        water=water,
        do=_to_do(verdict, turn, home, units, there=there, old=old),
        old=old,
    )


def _verdict(home: WayHome) -> Verdict:
    margin = home.margin_wh
    if home.turn_back is True:
        return "turn back"
    if isinstance(margin, Unknown) or isinstance(home.turn_back, Unknown):
        return "not known"
    if margin.value < 0:
        return "not enough"
    return "only just" if margin.low is not None and margin.low < 0 else "enough"


def _big_distance(distance_m: float, units: Units, *, old: bool) -> BigFigureContent:
    # A distance below zero can only be a fault of the feed's.
    digits = big_distance(units.distance(max(distance_m, 0.0)))
    unit = units.distance_name
    if len(digits) > 4:
        return BigFigureContent(unit=unit, label=DISTANCE, why="too far to be true: set home anew")
    return BigFigureContent(digits, unit, DISTANCE, stale=old)


def _big_energy(figure: Reading, *, old: bool) -> BigFigureContent:
    if figure.value is None:
        return BigFigureContent(unit="Wh", label=MARGIN, why=figure.why)
    digits = whole(figure.value)
    if len(digits) > 5:
        return BigFigureContent(unit="Wh", label=MARGIN, why="beyond what can be shown")
    return BigFigureContent(digits, "Wh", MARGIN, interval_text(figure, _energy), stale=old)


def _energy(energy_wh: float) -> str:
    return one_decimal(energy_wh) if 0 < abs(energy_wh) < 9.95 else whole(energy_wh)


def _turn_texts(turn: Turn, bearing_deg: float, *, there: bool, old: bool) -> tuple[str, str]:
    if there:
        return "you are at home", f"you are at home, within {AT_HOME_M:.0f} m"
    at = f"{round(bearing_deg) % 360:03d}"
    if old:
        return f"bearing was {at} deg", f"bearing was {at} deg when the data ended"
    if turn.angle_deg is None:
        return f"bearing {at} deg", f"bearing {at} deg; your own course and heading are not known"
    of = f" of {turn.of}" if turn.aside else ""
    return f"{turn.words}, bearing {at}", f"home is {turn.words}{of}, bearing {at} deg"


def _cost(home: WayHome, units: Units) -> tuple[str, str]:
    energy, speed = reading(home.energy_wh, units), reading(home.speed_mps, units)
    if energy.value is None:
        takes = f"energy not known: {energy.why}"
    else:
        takes = f"takes {_energy(energy.value)} Wh{in_brackets(energy, _energy)}"
    if speed.value is None or not (speed.value > 0.0 and _lasts_s(home, speed.value) < math.inf):
        why = speed.why if speed.value is None else "no speed makes way"
        return takes, f"time not known: {why}"
    lasts = duration_text(_lasts_s(home, speed.value))
    return takes, f"{lasts} at {speed_text(speed.value, units)}"


def _lasts_s(home: WayHome, speed_mps: float) -> float:
    """Return the time that the way home takes [s]; infinite at next to no speed."""
    return home.distance_m / speed_mps


def _to_do(
    verdict: Verdict, turn: Turn, home: WayHome, units: Units, *, there: bool, old: bool
) -> tuple[str, ...]:
    """Return the advice, most urgent first."""
    if verdict == "turn back":
        return _turn_back(turn, home, units, old=old)
    if there:
        return ()
    if old:
        return ("The data are old: judge the way home by what you see.",)
    advice = {
        "not enough": "The way home goes into the reserve: land nearer if you can.",
        "only just": "Go no further out: it may not be enough.",
        "not known": UNTIL_KNOWN,
    }
    return (advice[verdict],) if verdict in advice else ()


def _turn_back(turn: Turn, home: WayHome, units: Units, *, old: bool) -> tuple[str, ...]:
    speed, margin = home.speed_mps, home.margin_wh
    at_speed = (
        "" if isinstance(speed, Unknown) or speed <= 0.0 else f" at {speed_text(speed, units)}"
    )
    if old:
        first = f"Data old: head home now{at_speed}."
    elif turn.angle_deg is None:
        first = f"Head home now{at_speed}."
    elif abs(turn.angle_deg) < 30:
        first = f"Go on straight home{at_speed}."
    else:
        first = f"Turn {turn.side} now, go home{at_speed}."
    if not isinstance(margin, Unknown) and margin.value < 0:
        return first, "The reserve goes into it: land nearer if you can."
    return first, "Go no further out, and no faster."
