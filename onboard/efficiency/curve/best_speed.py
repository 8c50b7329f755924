"""The speed over ground with the least energy per distance, for any power curve and water current.

No exponent is assumed: all speeds are searched, so that a hump with two valleys is safe. Set and
drift move the water, and the craft is assumed to crab so as to stay on course.
"""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import WAY_LEAST_MPS
from onboard.efficiency.curve.speed_power import KNOTS, Posterior, rising
from onboard.efficiency.statistics.monotone_cubic import interpolate
from onboard.efficiency.statistics.shared_errors import interval

PowerCurve = Callable[[FloatArray], FloatArray]
"""Battery power [W] for speeds through water [m/s], shape (n,)."""

GRID_SPEEDS, REFINEMENTS = 65, 5
"""Speeds searched over a span, and how often the span is then narrowed around the best."""

DIRECTIONS_MOST, VARIANCE_SHARE_LEAST = 16, 1e-4
"""Largest number of principal directions of the posterior propagated, and the share of the largest
variance below which a direction is neglected."""


@dataclass(frozen=True)
class BestSpeed:
    """The best speed and its consumption.

    Parameters
    ----------
    over_ground_mps, through_water_mps
        The speed, both ways.
    wh_per_km
        Energy per distance over ground.
    at_limit
        Whether it lies at an end of the span searched, so that the best may lie beyond.
    """

    over_ground_mps: float
    through_water_mps: float
    wh_per_km: float
    at_limit: bool


def best_speed(
    power_at: PowerCurve,
    least_mps: float,
    most_mps: float,
    along_mps: float = 0.0,
    across_mps: float = 0.0,
) -> BestSpeed | Unknown:
    """Find the speed with the least energy per distance.

    Parameters
    ----------
    power_at
        The craft's curve.
    least_mps, most_mps
        Span of speeds through water to search.
    along_mps, across_mps
        Water current along the course over ground (positive with the craft) and across it.

    Returns
    -------
    BestSpeed or Unknown
        Unknown where no speed of the span makes progress.

    Examples
    --------
    >>> found = best_speed(lambda v: 10 + 20 * v**3, 0.1, 4.0, along_mps=-0.5)
    >>> round(found.through_water_mps, 4), round(found.wh_per_km, 4)
    (1.0, 16.6667)
    """
    low, high = max(least_mps, abs(across_mps)), most_mps
    # Below this the water carries the craft back faster than it moves.
    low = max(low, math.hypot(max(WAY_LEAST_MPS - along_mps, 0.0), across_mps))
    if not low < high:
        return Unknown(Reason.NO_PROGRESS)
    first, last = low, high
    speed = np.linspace(low, high, GRID_SPEEDS)
    for _ in range(REFINEMENTS):
        speed = np.linspace(low, high, GRID_SPEEDS)
        over_ground = along_mps + np.sqrt(np.maximum(speed**2 - across_mps**2, 0.0))
        cost = power_at(speed) / np.maximum(over_ground, WAY_LEAST_MPS)
        best = int(np.argmin(cost))
        found = BestSpeed(
            float(over_ground[best]),
            float(speed[best]),
            float(cost[best]) / 3.6,
            at_limit=bool(speed[best] <= first or speed[best] >= last),
        )
        low, high = float(speed[max(best - 1, 0)]), float(speed[min(best + 1, GRID_SPEEDS - 1)])
    return found


def best_speed_on_course(known: Posterior, course_deg: float) -> Estimate:
    """Return the best speed over ground on a course, with its interval.

    Parameters
    ----------
    known
        Curve and water; only speeds seen are searched.
    course_deg
        Over ground.

    Notes
    -----
    The variance is the sum over the principal directions of the posterior of the squared half
    difference between the best speeds with curve and water shifted by one standard deviation either
    way. There is no random sampling.
    """
    middle = _best_on_course(known, course_deg)
    if isinstance(middle, Unknown):
        return middle
    variance = 0.0
    for water, curve in _principal_shifts(known):
        ends = [
            _best_on_course(
                replace(
                    known,
                    water_mps=known.water_mps + sign * water,
                    ln_speed=known.ln_speed + sign * curve,
                ),
                course_deg,
            )
            for sign in (-1.0, 1.0)
        ]
        below, above = (
            middle.over_ground_mps if isinstance(end, Unknown) else end.over_ground_mps
            for end in ends
        )
        variance += ((above - below) / 2.0) ** 2
    return interval(middle.over_ground_mps, math.sqrt(variance), 0.0)


def _best_on_course(known: Posterior, course_deg: float) -> BestSpeed | Unknown:
    course = math.radians(course_deg)
    east, north = known.water_mps.tolist()
    along = east * math.sin(course) + north * math.cos(course)
    across = east * math.cos(course) - north * math.sin(course)
    ln_speed = rising(known.ln_speed)

    def power_at(speed_mps: FloatArray) -> FloatArray:
        # Smooth: with ln P piecewise linear in ln w the optimum would always be at a knot.
        return np.asarray(np.exp(interpolate(np.log(speed_mps), ln_speed, KNOTS)), np.float64)

    return best_speed(power_at, *known.seen_mps, along_mps=along, across_mps=across)


def _principal_shifts(known: Posterior) -> list[tuple[FloatArray, FloatArray]]:
    """Return the principal directions that matter, one sd long: of water and of curve.

    Only knots at speeds seen count; knots beyond move with the outermost of them.
    """
    ln_power, _ = known.ln_power_at(np.array(known.seen_mps))
    ends = np.searchsorted(KNOTS, ln_power) + np.array([-2, 1])
    first, last = np.clip(ends, 0, len(KNOTS) - 1).tolist()
    inside = [0, 1, *range(2 + first, 3 + last)]
    variances, directions = np.linalg.eigh(known.covariance[np.ix_(inside, inside)])
    most = np.argsort(variances)[::-1][:DIRECTIONS_MOST]
    places = np.clip(np.arange(len(KNOTS)), first, last) - first + 2
    found = []
    for index in most[variances[most] > VARIANCE_SHARE_LEAST * variances[most[0]]].tolist():
        column = directions[:, index] * math.sqrt(variances[index])
        found.append((column[:2], column[places]))
    return found
