"""Blocks of riding: means over 10 s under way, one a row, oldest first.

Ten seconds average out the waves, and are short enough to place a change of the throttle. Whatever
looks back on the riding works on an array of such rows, of shape (n, 7).
"""

import math

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


def block_of(seconds: FloatArray) -> FloatArray:
    """Return the block of some seconds.

    Parameters
    ----------
    seconds
        The columns up to the throttle, which is NaN where unknown, shape (k, 6).

    Returns
    -------
    FloatArray
        Shape (7,); the throttle is NaN if it was never known.
    """
    throttle = seconds[:, THROTTLE]
    known = throttle[np.isfinite(throttle)]
    velocity = seconds[:, [EAST, NORTH]]
    over_ground = np.maximum(np.hypot(*velocity.T), SLIGHTEST_MPS)
    straight = np.hypot(*(velocity / over_ground[:, None]).mean(axis=0))
    middle = known.mean() if len(known) else math.nan
    return np.array([*seconds[:, :THROTTLE].mean(axis=0), middle, straight])


def ln_power(blocks: FloatArray) -> FloatArray:
    """Return the logarithm of each block's power, shape (n,)."""
    return np.log(np.maximum(blocks[:, POWER], SLIGHTEST_W))


def ln_speed(blocks: FloatArray) -> FloatArray:
    """Return the logarithm of each block's speed over ground, shape (n,)."""
    return np.log(blocks[:, SPEED])


def course_rad(blocks: FloatArray) -> FloatArray:
    """Return each block's course over ground [rad], clockwise from north, shape (n,)."""
    return np.arctan2(blocks[:, EAST], blocks[:, NORTH])
