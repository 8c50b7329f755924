"""Double runs: consecutive runs on reciprocal headings at the same power, and their weights.

A lap of a closed course counts like a double run: it too meets the water from all sides.

A double run is "two consecutive Speed Runs at the same power setting on reciprocal heading"
(ITTC 7.5-04-01-01.1, definitions). Its speeds are averaged, never its Wh/km: the mean of two legs'
Wh/km is too high by 1 / (1 - (u/v)^2) - 1 in a water current u.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.trial_practice import (
    LEGS_APART_MOST_S,
    RECIPROCAL_DEG,
    SAME_POWER_FRACTION,
)


@dataclass(frozen=True)
class DoubleRun:
    """Two legs there and back, or three if one was left over; or one lap.

    Parameters
    ----------
    setup, outing
        See `Leg`.
    legs
        Indices of its legs, in order.
    weights
        Weight of each leg; their sum is 1.
    """

    setup: str
    outing: int
    legs: tuple[int, ...]
    weights: tuple[float, ...]

    @property
    def is_lap(self) -> bool:
        """Whether it is a lap."""
        return len(self.legs) == 1

    @property
    def parts(self) -> list[tuple[int, float]]:
        """Index and weight of each leg."""
        return list(zip(self.legs, self.weights, strict=True))


@dataclass(frozen=True)
class UnpairedLeg:
    """A leg that belongs to no double run, and why."""

    leg: int
    why: Unknown


def binomial_weights(count: int) -> FloatArray:
    """Return the weights of successive runs that cancel a polynomial water current.

    The weighted mean of alternating runs there and back, evenly spaced in time, is independent of a
    water current that is a polynomial of degree `count` - 2 in time.

    Parameters
    ----------
    count
        Number of runs, 1 or more.

    References
    ----------
    Tupper, Introduction to Naval Architecture, p. 244 (the equations of four runs; the weights are
    their solution).

    Examples
    --------
    >>> [(8 * binomial_weights(4)).tolist(), (4 * binomial_weights(3)).tolist()]
    [[1.0, 3.0, 3.0, 1.0], [1.0, 2.0, 1.0]]
    """
    weights = [math.comb(count - 1, n) for n in range(count)]
    return np.array(weights, np.float64) / 2.0 ** (count - 1)


def double_runs(legs: list[Leg]) -> tuple[list[DoubleRun], list[UnpairedLeg]]:
    """Pair the legs, each only once: overlapping groups would not be independent.

    Parameters
    ----------
    legs
        All legs, in order of outing and time.
    """
    found: list[DoubleRun] = []
    unpaired: list[UnpairedLeg] = []
    n = 0
    while n < len(legs):
        if legs[n].lap_m > 0.0:
            found.append(_double(legs, (n,)))
            n += 1
            continue
        why = _why_no_pair(legs, n, n + 1)
        if why is None:
            found.append(_double(legs, (n, n + 1)))
            n += 2
        elif found and found[-1].legs[-1] == n - 1 and _why_no_pair(legs, n - 1, n) is None:
            # It joins the two before it: there, back and there.
            found[-1] = _double(legs, (*found[-1].legs, n))
            n += 1
        else:
            unpaired.append(UnpairedLeg(n, why))
            n += 1
    return found, unpaired


def _double(legs: list[Leg], numbers: tuple[int, ...]) -> DoubleRun:
    first = legs[numbers[0]]
    weights = binomial_weights(len(numbers)).tolist()
    return DoubleRun(first.setup, first.outing, numbers, tuple(weights))


def _why_no_pair(legs: list[Leg], first: int, second: int) -> Unknown | None:
    """Return why two legs do not form a double run, None if they do."""
    a, b = legs[first], legs[second] if second < len(legs) else None
    if b is None or a.outing != b.outing or a.lap_m > 0.0 or b.lap_m > 0.0:
        return Unknown(Reason.NO_RUN_BACK)
    if a.setup != b.setup:
        return Unknown(Reason.OTHER_SETUP_NEXT)
    if b.start_s - (a.start_s + a.seconds_s) > LEGS_APART_MOST_S:
        return Unknown(Reason.RUN_BACK_LATE)
    off = abs((b.course_deg - a.course_deg) % 360.0 - 180.0)
    if off > RECIPROCAL_DEG:
        return Unknown(Reason.NOT_OPPOSITE)
    if abs(math.log(b.power_w / a.power_w)) > SAME_POWER_FRACTION:
        return Unknown(Reason.OTHER_POWER_NEXT)
    return None
