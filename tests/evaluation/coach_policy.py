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
    after every double run or lap. An order once begun is finished, but for set-ups that are
    dropped; one that is taken back in makes up for what it missed of the order.

    Parameters
    ----------
    names
        The set-ups.
    ride
        Ride a double run or a lap of a set-up, compare, and tell what the comparison asks for.
    """
    both = [*names, *reversed(names)]
    counts, left, asked = dict.fromkeys(names, 0), list(both), Ahead()
    while not (asked.enough and all(counts.values())):
        ahead = [name for name in left if name not in asked.drop]
        if not ahead:
            if max(counts.values()) >= ROUNDS_MOST:
                return
            left = list(asked.order) or list(both)
            continue
        asked = ride(ahead[0])
        counts[ahead[0]] += 1
        left.remove(ahead[0])
