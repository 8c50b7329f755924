"""The places of the set-ups, and what to ride next."""

from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.cautions import ENOUGH_DOUBLE_RUNS
from onboard.efficiency.trial.results import Evidence, NextRuns, PairResult, Place
from onboard.efficiency.trial.trial_practice import WANTED_FRACTION


def places_of(
    names: list[str], pairs: tuple[PairResult, ...], chances: dict[str, float | None]
) -> tuple[Place, ...]:
    """Return the place of each set-up.

    A group holds the best of those left and all that cannot be told from it.

    Parameters
    ----------
    names
        The set-ups, best first.
    pairs
        Every pair of them, with verdicts.
    chances
        Probability of each being the best; None if unknown.
    """
    told = {frozenset((one.a, one.b)) for one in pairs if one.verdict != "cannot_tell"}
    group: dict[str, int] = {}
    left = list(names)
    while left:
        together = [one for one in left if frozenset((left[0], one)) not in told]
        group |= dict.fromkeys(together, max(group.values(), default=-1) + 1)
        left = [one for one in left if one not in together]
    return tuple(
        Place(one, group[one], _behind(one, names[0], pairs), chances[one]) for one in names
    )


def next_runs(
    places: tuple[Place, ...], evidence: Evidence, runs_each: int | None, behind: set[str]
) -> NextRuns:
    """Return what to ride next: those that may be the best, there and back through the list.

    Set-ups without a double run come first.

    Parameters
    ----------
    places
        Of the set-ups run so far.
    evidence
        The runs so far.
    runs_each
        Double runs or laps of each that would show 3 %; None if more than anyone would ride.
    behind
        Set-ups that can each be told from the best, with a margin. Among many set-ups that is too
        little for a verdict, but enough to drop them.
    """
    counts = dict(zip(evidence.names, evidence.counts, strict=True))
    # One run may have gone wrong.
    twice = {name for name, count in counts.items() if count >= ENOUGH_DOUBLE_RUNS}
    drop = tuple(
        one.name for one in places if one.name in twice and (one.group > 0 or one.name in behind)
    )
    left = [one.name for one in places if one.name not in drop]
    alike = all(_within(one.behind_fraction) for one in places if one.name in left)
    rounds = None if runs_each is None else max(runs_each - min(counts[one] for one in left), 0)
    if evidence.without:
        return NextRuns(False, (*evidence.without, *_by_turns(left, evidence)), drop, rounds)
    if twice.issuperset(left) and (len(left) == 1 or alike or rounds == 0):
        return NextRuns(True, (), drop, 0)
    return NextRuns(False, _by_turns(left, evidence), drop, rounds)


def _by_turns(names: list[str], evidence: Evidence) -> tuple[str, ...]:
    """Return set-ups from the one that is on the craft now to the one ridden longest ago."""
    when = [
        ((double.outing, evidence.legs[double.legs[-1]].middle_s), double.setup)
        for double in evidence.doubles
    ]
    last = {name: moment for moment, name in sorted(when)}
    return tuple(sorted(names, key=lambda one: last[one], reverse=True))


def _within(behind: Estimate) -> bool:
    """Return whether a difference from the best is surely too small to matter."""
    if not isinstance(behind, Figure) or behind.low is None or behind.high is None:
        return False
    return max(-behind.low, behind.high) <= WANTED_FRACTION


def _behind(name: str, best: str, pairs: tuple[PairResult, ...]) -> Estimate:
    """Return a set-up's Wh/km above the best's, as a share of the best's."""
    if name == best:
        return Figure(0.0)
    for one in pairs:
        figure = one.difference_fraction
        if (one.a, one.b) == (name, best):
            return figure
        if (one.a, one.b) == (best, name):
            return figure if isinstance(figure, Unknown) else turned(figure)
    return Unknown(Reason.NEVER_TOGETHER)


def turned(figure: Figure) -> Figure:
    """Convert the difference of a relative to b into that of b relative to a."""
    ends = [1.0 / (1.0 + (one or 0.0)) - 1.0 for one in (figure.value, figure.high, figure.low)]
    return Figure(*ends)
