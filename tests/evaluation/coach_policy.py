"""A rider who does what the comparison asks for, run after run, until it says 'enough'."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from onboard.contract.figure import Unknown
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.double_runs import double_runs
from onboard.efficiency.trial.equal_power import CurveSlope, reference_power_w
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.results import Comparison

ROUNDS_MOST = 8
"""Most runs of one set-up: an afternoon is over."""


def judged(legs: list[Leg], slope: CurveSlope, significance: float) -> Comparison | Unknown:
    """Compare the set-ups of some legs at the power that a trial takes."""
    paired = [legs[n] for double in double_runs(legs)[0] for n in double.legs] or legs
    return compare(legs, reference_power_w(paired), slope, 0.02, significance)


@dataclass(frozen=True)
class Ahead:
    """What a comparison asks for: whether it is enough, what to ride in order, what to drop."""

    enough: bool = False
    order: Sequence[str] = ()
    drop: Sequence[str] = ()


def coached(names: Sequence[str], ride: Callable[[str], Ahead]) -> None:
    """Ride as the comparison asks, until it is enough.

    At first there and back through the list, then the order asked for. The figures are looked at
    after every double run or lap; a set-up that is dropped is left out of what was planned.

    Parameters
    ----------
    names
        The set-ups.
    ride
        Ride a double run or a lap of a set-up, compare, and tell what the comparison asks for.
    """
    both = [*names, *reversed(names)]
    counts, order, asked = dict.fromkeys(names, 0), both, Ahead()
    while True:
        for name in order:
            if name not in asked.drop:
                asked = ride(name)
                counts[name] += 1
                if asked.enough and all(counts.values()):
                    return
        if max(counts.values()) >= ROUNDS_MOST:
            return
        order = list(asked.order) or both
