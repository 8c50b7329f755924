"""Every pair of set-ups, in a sentence each."""

from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.figure import Figure
from onboard.efficiency.trial.places import turned
from onboard.efficiency.trial.results import Comparison, PairResult
from onboard.efficiency.trial.trial_practice import WANTED_FRACTION

WANTED = f"{100 * WANTED_FRACTION:.0f} %"


def ranked_pairs(found: Comparison) -> list[PairResult]:
    """Return the pairs in the order of the ranking."""
    place = {one.name: n for n, one in enumerate(found.places)}
    return sorted(found.pairs, key=lambda one: sorted((place[one.a], place[one.b])))


def pair_sentence(pair: PairResult, units: Units, runs: str = "double runs") -> str:
    """Return how much two set-ups differ, or that they cannot be told apart.

    Parameters
    ----------
    pair
        The pair.
    units
        The rider's units.
    runs
        What the comparison counts.

    Examples
    --------
    >>> from groundside.words.units import DEFAULT
    >>> pair = PairResult("A", "B", Figure(-0.07, -0.1, -0.04), "a_better", None, 0.0, 6.0)
    >>> pair_sentence(pair, DEFAULT)
    'A uses 7.0 % less than B (4.0 to 10.0 %).'
    """
    figure = pair.difference_fraction
    if pair.verdict == "cannot_tell" or not isinstance(figure, Figure):
        return _cannot_tell(pair, units, runs)
    better, worse = (pair.a, pair.b) if pair.verdict == "a_better" else (pair.b, pair.a)
    if pair.verdict == "b_better":
        figure = turned(figure)
    low, high = figure.low or 0.0, figure.high or 0.0
    return (
        f"{better} uses {-100 * figure.value:.1f} % less than {worse} "
        f"({-100 * high:.1f} to {-100 * low:.1f} %)."
    )


def _cannot_tell(pair: PairResult, units: Units, runs: str) -> str:
    figure = pair.difference_fraction
    head = f"{pair.a} and {pair.b} cannot be told apart"
    if not isinstance(figure, Figure):
        return f"{head}: {reason_text(figure, units)}."
    reasons = [] if pair.why_not is None else [reason_text(pair.why_not, units)]
    if pair.double_runs_needed:
        reasons.append(f"about {pair.double_runs_needed} more {runs} would show {WANTED}")
    elif pair.double_runs_needed == 0:
        reasons.append(
            f"the runs are enough to show {WANTED}, so any difference is smaller"
            if max(-(figure.low or 0.0), figure.high or 0.0) <= WANTED_FRACTION
            else f"the runs would usually show {WANTED}, but that much is not ruled out"
        )
    why = f": {'; '.join(reasons)}" if reasons else ""
    return f"{head}{why} ({pair.a} uses {_between(figure)} than {pair.b})."


def _between(figure: Figure) -> str:
    low, high = 100 * (figure.low or 0.0), 100 * (figure.high or 0.0)
    if high <= 0.0:
        return f"{-high:.1f} to {-low:.1f} % less"
    if low >= 0.0:
        return f"{low:.1f} to {high:.1f} % more"
    return f"{-low:.1f} % less to {high:.1f} % more"
