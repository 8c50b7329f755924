"""Blocks of riding: means over 10 s under way, one a row, oldest first.

Ten seconds average out the waves, and are short enough to place a change of the throttle. Whatever
looks back on the riding works on an array of such rows, of shape (n, 7).
"""

import math
from collections.abc import Sequence

import numpy as np

from onboard.block import FloatArray

BLOCK_S = 10
"""Length of a block [s]."""

COLUMNS = 7
POWER, SPEED, VOLTS, EAST, NORTH, THROTTLE, STRAIGHT = range(COLUMNS)
"""Columns of a block: mean power [W], speed over ground [m/s], voltage [V], velocity east and north
[m/s], throttle [share], and the length of the mean unit vector of the course: 1 if straight."""

SLIGHTEST_W, SLIGHTEST_MPS = 1e-3, 1e-9
"""Floors that keep logarithms and quotients finite."""


def block_of(seconds: Sequence[Sequence[float]]) -> FloatArray:
    """Return the block of some seconds.

    Parameters
    ----------
    seconds
        The columns up to the throttle, which is NaN where unknown: k rows of 6.

    Returns
    -------
    FloatArray
        Shape (7,); the throttle is NaN if it was never known.
    """
    count, columns = len(seconds), list(zip(*seconds, strict=True))
    known = [throttle for throttle in columns[THROTTLE] if math.isfinite(throttle)]
    east = north = 0.0
    for by_east, by_north in zip(columns[EAST], columns[NORTH], strict=True):
        over_ground = max(math.hypot(by_east, by_north), SLIGHTEST_MPS)
        east, north = east + by_east / over_ground, north + by_north / over_ground
    middle = sum(known) / len(known) if known else math.nan
    means = (sum(column) / count for column in columns[:THROTTLE])
    return np.array([*means, middle, math.hypot(east, north) / count])


def ln_power(blocks: FloatArray) -> FloatArray:
    """Return the logarithm of each block's power, shape (n,)."""
    return np.log(np.maximum(blocks[:, POWER], SLIGHTEST_W))


def ln_speed(blocks: FloatArray) -> FloatArray:
    """Return the logarithm of each block's speed over ground, shape (n,)."""
    return np.log(blocks[:, SPEED])


def course_rad(blocks: FloatArray) -> FloatArray:
    """Return each block's course over ground [rad], clockwise from north, shape (n,)."""
    return np.arctan2(blocks[:, EAST], blocks[:, NORTH])
