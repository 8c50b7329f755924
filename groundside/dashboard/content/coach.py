"""Content of the runs view during a trial: the step, the standing, what to ride next."""

from groundside.dashboard.content.runs import PowerCue, open_run, power_cue
from groundside.dashboard.content.setups import setup_in_force
from groundside.dashboard.view_state import ViewState
from groundside.words.coach import KIND_WORDS, caution_word, step_number, step_text, step_word
from groundside.words.figures import UNKNOWN, chance_text, one_decimal
from groundside.words.reasons import reason_text
from onboard.contract.coach import Coach, StepCode, TrialPlace
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.dataclass import dataclass

AHEAD_MOST = 8
"""Places to come that are shown."""


@dataclass(frozen=True)
class PlaceLine:
    """A set-up in the standing, as texts; `within` is its interval."""

    place: str
    setup: str
    behind: str
    within: str
    chance: str
    runs: str
    drop: bool = False
    on: bool = False
    """Whether it is on the craft now."""


@dataclass(frozen=True)
class CoachContent:
    """The content of the view at one moment."""

    head: str
    word: str
    number: str
    unit: str
    sentence: str
    power_cue: PowerCue
    at_rest: bool
    """Whether the craft is at rest for this step, so that there is time to read."""
    ahead: str = ""
    lines: tuple[PlaceLine, ...] = ()
    notes: tuple[str, ...] = ()
    runs_name: str = ""
    stale: bool = False


def coach_content(state: ViewState, coach: Coach) -> CoachContent:
    """Return the content of the view during a trial."""
    step, units = coach.step, state.units
    number, unit = step_number(step)
    setup, by_hand = setup_in_force(state.snapshot), open_run(state.snapshot)
    # A run marked by hand counts instead of what the coach finds: one left open must be seen.
    marked = "" if by_hand is None else f"run {by_hand.number} OPEN, "
    return CoachContent(
        head=f"{marked}{f'{setup} on' if setup else 'no set-up yet'}, {KIND_WORDS[coach.kind]}",
        word=step_word(step),
        number=number,
        unit=unit,
        sentence=step_text(step, units),
        power_cue=power_cue(state.snapshot, units, state.stale),
        at_rest=step.code in (StepCode.SWAP, StepCode.ENOUGH, StepCode.ENOUGH_ALIKE),
        ahead=_ahead(coach),
        lines=_lines(coach, setup),
        notes=_notes(coach, state),
        runs_name="laps" if coach.kind == "laps" else "runs",
        stale=state.stale,
    )


def _ahead(coach: Coach) -> str:
    if not coach.ahead:
        return ""
    shown = coach.ahead[:AHEAD_MOST]
    more = " .." if len(coach.ahead) > len(shown) else ""
    return f"Ahead: {', '.join(shown)}{more}"


def _lines(coach: Coach, setup: str) -> tuple[PlaceLine, ...]:
    """Return the set-ups with figures, best first, then the others as named."""
    runs = dict(zip(coach.setups, map(str, coach.runs), strict=False))
    standing = coach.standing
    places = () if isinstance(standing, Unknown) else standing.places
    drop = () if isinstance(standing, Unknown) else standing.drop
    found = [
        PlaceLine(
            # Not told from its neighbours, yet not worth another run: no share in the first place.
            place="" if place.group == 0 and place.setup in drop else str(_place(places, place)),
            setup=place.setup,
            behind="best" if number == 0 else _share(place.behind_fraction),
            within="" if number == 0 else _interval(place.behind_fraction),
            chance=_chance(place.best_chance_fraction),
            runs=runs.get(place.setup, UNKNOWN),
            drop=place.setup in drop,
            on=place.setup == setup,
        )
        for number, place in sorted(enumerate(places), key=lambda one: one[1].setup in drop)
    ]
    placed = {place.setup for place in places}
    found += [
        PlaceLine("", name, UNKNOWN, "", "", runs[name], on=name == setup)
        for name in coach.setups
        if name not in placed and name in runs
    ]
    return tuple(found)


def _place(places: tuple[TrialPlace, ...], of: TrialPlace) -> int:
    """Return the place of a set-up: that of the first of its group."""
    return 1 + next(n for n, one in enumerate(places) if one.group == of.group)


def _chance(chance: Number) -> str:
    return UNKNOWN if isinstance(chance, Unknown) else chance_text(chance)


def _share(figure: Estimate) -> str:
    return UNKNOWN if isinstance(figure, Unknown) else f"{100.0 * figure.value:+.1f} %"


def _interval(figure: Estimate) -> str:
    if isinstance(figure, Unknown) or figure.low is None or figure.high is None:
        return ""
    return f"{100.0 * figure.low:+.1f} to {100.0 * figure.high:+.1f}"


def _notes(coach: Coach, state: ViewState) -> tuple[str, ...]:
    """Return what else there is to know, the most useful first."""
    standing = coach.standing
    if isinstance(standing, Unknown):
        return (f"No standing: {reason_text(standing, state.units)}.",)
    notes = []
    if not isinstance(standing.rounds, Unknown) and not standing.enough and standing.rounds:
        rounds = standing.rounds
        left = sum(place.setup not in standing.drop for place in standing.places)
        runs = "laps" if coach.kind == "laps" else "double runs"
        notes.append(f"About {rounds * left} more {runs} should settle it.")
    if standing.drop:
        notes.append(f"Drop {', '.join(standing.drop)}: not worth another run.")
    notes += [f"Caution: {caution_word(code)}." for code in standing.cautions]
    if not isinstance(standing.told_fraction, Unknown):
        told = one_decimal(100.0 * standing.told_fraction)
        notes.append(
            f"Can tell apart {told} % of consumption or more, at {standing.power_w:.0f} W."
        )
    return tuple(notes)
