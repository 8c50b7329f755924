"""Content of the ride view: big figures, cue, small figures."""

from groundside.dashboard.content.setups import PLAIN
from groundside.dashboard.content.small_figures import SmallFigure, small_figures
from groundside.dashboard.view_state import ViewState
from groundside.words.cues import cue_text
from groundside.words.figures import (
    Reading,
    consumption_text,
    distance_text,
    interval_text,
    one_decimal,
    percent,
    speed_text,
    three_figures,
    whole,
)
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from groundside.words.stands import stand_text
from groundside.words.units import Units
from onboard.contract.advice import Standing, WayHome
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.dataclass import dataclass

LARGEST_SHOWN = 9999.5

VAGUE_FRACTION = 0.5
"""Half width of an interval, as a share of the value, from which no number is shown."""


@dataclass(frozen=True)
class BigFigureContent:
    """A big figure: digits or None, unit, label, interval, and why it is unknown."""

    digits: str | None = None
    unit: str = ""
    label: str = ""
    interval: str = ""
    why: str = ""
    stale: bool = False


@dataclass(frozen=True)
class CueContent:
    """The cue: `ease`, `hold`, `push` or `turn`; or empty, with the reason among the texts.

    Parameters
    ----------
    word
        The cue itself.
    parts
        First how far off the ride is and what to do, then what else matters.
    """

    word: str = ""
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class RideContent:
    """The content of the ride view at one moment."""

    consumption: BigFigureContent
    range: BigFigureContent
    cue: CueContent
    figures: tuple[SmallFigure, ...]
    stale: bool = False
    has_cue: bool = False


def big_figure(
    figure: Reading, units: Units, *, of_distance: bool, label: str, stale: bool
) -> BigFigureContent:
    """Return a consumption [Wh/km] or a distance [m] as a big figure."""

    def write(value: float) -> str:
        if of_distance:
            return big_distance(units.distance(value))
        return consumption_text(value, units)

    unit = units.distance_name if of_distance else units.consumption_name
    if figure.value is None:
        return BigFigureContent(unit=unit, label=label, why=figure.why)
    if is_vague(figure):
        text = f"{interval_text(figure, write)} {unit}: settling"
        return BigFigureContent(unit=unit, label=label, why=text)
    digits = write(figure.value)
    if abs(float(digits)) > LARGEST_SHOWN:
        return BigFigureContent(unit=unit, label=label, why="beyond 9999: hardly moving")
    return BigFigureContent(digits, unit, label, interval_text(figure, write), stale=stale)


def is_vague(figure: Reading) -> bool:
    """Return whether a figure is known too poorly to be shown as a number.

    Examples
    --------
    >>> is_vague(Reading(10.0, 6.0, 15.0)), is_vague(Reading(10.0, 4.0, 17.0))
    (False, True)
    """
    if figure.value is None or figure.low is None or figure.high is None:
        return False
    return (figure.high - figure.low) / 2.0 > VAGUE_FRACTION * abs(figure.value)


def big_distance(distance: float) -> str:
    """Write a distance in the rider's unit with three digits."""
    return three_figures(distance) if abs(distance) < 0.995 else one_decimal(distance)


def cue_content(state: ViewState) -> CueContent:
    """Return the cue; none from stale data, which would steer a rider by the past."""
    snapshot, units, target = state.snapshot, state.units, state.snapshot.target
    home = snapshot.home
    if not isinstance(home, Unknown) and home.turn_back is True and not state.stale:
        return turn_content(home, units)
    if isinstance(target, Unknown):
        if state.target_distance_m is None:
            return CueContent("", run_parts(snapshot, stale=state.stale))
        wanted = distance_text(state.target_distance_m, units)
        return CueContent("", (f"target {wanted}: {reason_text(target, units)}",))
    if state.stale:
        return CueContent("", ("no cue: the data are stale",))
    word = "" if isinstance(target.cue, Unknown) else target.cue
    # an alert says that no speed is sure: here stands what is best all the same
    in_doubt = target.reason.code is Standing.CANNOT_BE_MADE
    first = cue_text(target, units) if word or in_doubt else stand_text(target, units)
    to_go = target.distance_m
    more = (
        () if in_doubt or isinstance(to_go, Unknown) else (f"{distance_text(to_go, units)} to go",)
    )
    return CueContent(word, (*((first,) if first else ()), *more, *run_parts(snapshot)))


def turn_content(home: WayHome, units: Units) -> CueContent:
    """Return the cue to turn back: how fast to go home, and what energy that leaves."""
    first, speed, margin = "head home now", home.speed_mps, home.margin_wh
    if not isinstance(speed, Unknown) and speed > 0.0:
        first += f": hold {speed_text(speed, units)}"
    parts = [first, f"{distance_text(max(home.distance_m, 0.0), units)} to go"]
    if not isinstance(margin, Unknown):
        over = margin.value >= 0.0
        parts.append(f"{whole(abs(margin.value))} Wh {'to spare' if over else 'of the reserve'}")
    return CueContent("turn", tuple(parts))


def difference_text(fraction: float) -> str:
    """Write how far a value is off its target.

    Examples
    --------
    >>> difference_text(0.09), difference_text(-0.12), difference_text(0.004)
    ('9 % over', '12 % under', 'on target')
    """
    share = percent(abs(fraction))
    if share == "0 %":
        return "on target"
    return f"{share} {'over' if fraction > 0 else 'under'}"


def run_parts(snapshot: Snapshot, *, stale: bool = False) -> tuple[str, ...]:
    """Return the progress of the open run, most important first; empty if none is open."""
    if not snapshot.runs or not snapshot.runs[-1].open:
        return ()
    run = snapshot.runs[-1]
    name = f"run {run.number} {'' if run.setup == PLAIN else run.setup}".strip()
    if stale:
        return (f"{name} is open", "the data are stale")
    if run.long_enough:
        return ("long enough", name)
    # steady time within the run: what came before it does not count
    return (f"steady for {whole(run.steady_s)} s", name)


def ride_content(state: ViewState) -> RideContent:
    """Return the content of the ride view.

    Parameters
    ----------
    state
        The present state.
    """
    snapshot, units, stale = state.snapshot, state.units, state.stale
    consumption = big_figure(
        reading(snapshot.wh_per_km.last_20_s, units),
        units,
        of_distance=False,
        label="last 20 s",
        stale=stale,
    )
    reach = big_figure(
        reading(snapshot.range_m.now, units),
        units,
        of_distance=True,
        label="range",
        stale=stale,
    )
    cue = cue_content(state)
    return RideContent(
        consumption=consumption,
        range=reach,
        cue=cue,
        figures=small_figures(snapshot, units),
        stale=stale,
        has_cue=cue != CueContent(),
    )
