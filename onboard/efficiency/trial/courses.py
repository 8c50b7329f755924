"""Laps round different courses: of another length, the other way round, or of another shape.

Laps are compared with what most of them are. Length is told by the path and by the root of the area
that it encloses, whichever is nearer: a lap from a standing start lacks some of the path, and one
taken wide at the marks encloses more.
"""

import math
from statistics import median_low

from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.meters.steadiness import (
    COURSE_LENGTH_FRACTION,
    COURSE_SHAPE_FRACTION,
    LAP_CROSSED_FRACTION,
)
from onboard.efficiency.trial.leg import Leg


def course_cautions(legs: list[Leg]) -> list[Caution]:
    """Return a caution that names the laps whose course differs from the usual one.

    Parameters
    ----------
    legs
        All runs, numbered from 1 in this order; straight ones are passed over.
    """
    laps = [(number, one) for number, one in enumerate(legs, 1) if one.lap_m > 0.0]
    if len(laps) < 2:
        return []
    # Of two laps one is usual, so that they differ by all of their difference.
    usual_m = median_low([one.lap_m for _, one in laps])
    size_m = median_low([math.sqrt(abs(one.lap_area_m2)) for _, one in laps])
    shape = median_low([_shape(one) for _, one in laps])
    ways_round = [_way_round(one) for _, one in laps]
    way_round = math.copysign(1.0, sum(ways_round) or next(filter(None, ways_round), 0.0))
    apart = [
        (number, one, way)
        for number, one in laps
        if (way := _apart(one, usual_m, size_m, shape, way_round)) is not None
    ]
    if not apart:
        return []
    return [
        Caution(
            CautionCode.COURSES_DIFFER,
            usual_lap_m=usual_m,
            run_numbers=tuple(number for number, _, _ in apart),
            setups=tuple(one.setup for _, one, _ in apart),
            ways=tuple(way for _, _, way in apart),
            laps_m=tuple(one.lap_m for _, one, _ in apart),
        )
    ]


def _apart(lap: Leg, usual_m: float, size_m: float, shape: float, way_round: float) -> str | None:
    """Return how a lap differs from the usual one, None if it does not."""
    if _way_round(lap) == -way_round:
        return "other_way_round"
    by_length = math.log(lap.lap_m / usual_m)
    by_size = by_length
    if min(shape, _shape(lap)) >= LAP_CROSSED_FRACTION:
        if abs(math.log(_shape(lap) / shape)) > COURSE_SHAPE_FRACTION:
            return "other_shape"
        by_size = math.log(math.sqrt(abs(lap.lap_area_m2)) / size_m)
    elif max(shape, _shape(lap)) >= 2.0 * LAP_CROSSED_FRACTION:
        return "other_shape"
    if min(by_length, by_size) > COURSE_LENGTH_FRACTION:
        return "longer"
    return "shorter" if max(by_length, by_size) < -COURSE_LENGTH_FRACTION else None


def _shape(lap: Leg) -> float:
    """Return the area enclosed over the square of half the length: 1 / pi for a circle."""
    return abs(lap.lap_area_m2) / (lap.lap_m / 2.0) ** 2


def _way_round(lap: Leg) -> float:
    """Return 1 for clockwise, -1 for the other way round, 0 for a course that crosses itself."""
    if _shape(lap) < LAP_CROSSED_FRACTION:
        return 0.0
    return math.copysign(1.0, lap.lap_area_m2)
