"""Courses over ground: the angle between them, and the legs of a ride."""

import math
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.riding.common_practice import LEG_COURSE_DEG

LEG_COURSE_RAD = math.radians(LEG_COURSE_DEG)

LEG_BLOCKS_LEAST = 3
"""Blocks from which a finished leg counts as one."""

Indices = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Course = TypeVar("Course", float, FloatArray)


def angle(a: Course, b: Course | float) -> Course:
    """Return the angle between courses [rad], 0 to pi.

    Examples
    --------
    >>> round(math.degrees(angle(math.radians(350.0), math.radians(20.0))))
    30
    """
    return abs((a - b + math.pi) % (2 * math.pi) - math.pi)


def is_along(course_rad: float, other_rad: float) -> bool:
    """Return whether a course is that of a leg on the other course."""
    return angle(course_rad, other_rad) < LEG_COURSE_RAD


def along(course_rad: FloatArray, other_rad: float) -> Bools:
    """Return which courses are those of a leg on the other course, shape (n,)."""
    return np.asarray(angle(course_rad, other_rad) < LEG_COURSE_RAD)


def against(course_rad: FloatArray, other_rad: float) -> Bools:
    """Return which courses are those of a leg back from the other course, shape (n,)."""
    return np.asarray(angle(course_rad, other_rad) > math.pi - LEG_COURSE_RAD)


def legs(course_rad: FloatArray) -> list[Indices]:
    """Return the indices of the blocks of each leg, oldest first; the last is the present one.

    A leg ends with the block whose course is `LEG_COURSE_DEG` off the leg's mean so far. Of the
    finished ones, those shorter than `LEG_BLOCKS_LEAST` are left out.
    """
    found: list[list[int]] = [[]]
    east = north = 0.0
    for block, course in enumerate(course_rad.tolist()):
        if found[-1] and angle(course, math.atan2(east, north)) > LEG_COURSE_RAD:
            found.append([])
            east = north = 0.0
        found[-1].append(block)
        east, north = east + math.sin(course), north + math.cos(course)
    *finished, present = found
    long = [leg for leg in finished if len(leg) >= LEG_BLOCKS_LEAST]
    return [np.array(leg, np.int64) for leg in (*long, present)]
