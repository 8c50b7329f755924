"""Blocks ridden as now: back to where the rider changed something, transitions left out.

What shows the rider's hand:

- power and speed that differ in the same direction, by more than both thresholds;
- a step of power on a straight course: water and wind do not change it within seconds;
- where power stays to a per cent or so (a held power or throttle): any other level of it, unless
  the throttle channel says that the throttle stayed.

On a new course the craft first settles: after turning into a water current, a rider who holds the
speed over ground sees it drop and then recover, which taken alone looks like an opened throttle. So
blocks that differ are passed over if riding as now lies beyond them within `PASSING_BLOCKS`, and a
step of power soon after a turn shows nothing.
"""

from collections.abc import Sequence

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.meters.steadiness import POWER_CHANGED, SPEED_CHANGED
from onboard.efficiency.riding.common_practice import (
    HELD_POWER_CHANGED,
    HELD_POWER_SD,
    POWER_STEPPED,
    THROTTLE_CHANGED,
    TURNED_DEG,
    TURNED_STRAIGHT_LEAST,
)
from onboard.efficiency.riding.courses import Bools, Indices, angle, is_along
from onboard.efficiency.riding.ridden_blocks import (
    STRAIGHT,
    THROTTLE,
    course_rad,
    ln_power,
    ln_speed,
)
from onboard.efficiency.statistics.middle import median

BEFORE_BLOCKS, AFTER_BLOCKS = 2, 12
"""Blocks before a boundary, and after it, whose means are compared."""

PASSING_BLOCKS, BEYOND_BLOCKS = 9, 3
"""Longest transition, and blocks that must be as now beyond it."""

RESTLESS_STEPS = 5
"""Steps of power within `AFTER_BLOCKS` from which changing it is itself the way of riding."""

AFTER_TURN_BLOCKS = 4
"""Blocks after a turn in which the craft still settles."""

SD_PER_MEDIAN = 1.4826
"""Standard deviation of a normal distribution over the median of its absolute value (tables)."""


class LikeBlocks:
    """Find the blocks ridden as now.

    Parameters
    ----------
    blocks
        As in `ridden_blocks`, shape (n, 7), oldest first.
    """

    def __init__(self, blocks: FloatArray) -> None:
        power, course = ln_power(blocks), course_rad(blocks)
        turned = _turned(course, blocks[:, STRAIGHT])
        # Only a few blocks are compared at a time, which plain lists do sooner than arrays.
        self._power: list[float] = power.tolist()
        self._speed: list[float] = ln_speed(blocks).tolist()
        self._throttle: list[float] = blocks[:, THROTTLE].tolist()
        self._course: list[float] = course.tolist()
        self._turned: list[bool] = turned.tolist()
        self._settled: list[bool] = _settled(turned).tolist()
        steps = np.diff(power)[~turned[1:]]
        lately = np.abs(np.diff(power[-AFTER_BLOCKS:]))
        self._is_restless = int((lately > POWER_STEPPED).sum()) >= RESTLESS_STEPS
        self._holds_power = _scatter(steps[-AFTER_BLOCKS:]) < HELD_POWER_SD

    def found(self) -> Indices:
        """Return the indices of the blocks ridden as now, rising; the last block is one of them."""
        if self._is_restless:
            return np.arange(len(self._power) - AFTER_BLOCKS, len(self._power))
        at = len(self._power) - 1
        like = [at]
        while at > 0:
            now = like[-AFTER_BLOCKS:]
            before = self._next_older(at, now)
            if before is None:
                break
            at = before
            like.append(at)
        return np.array(like[::-1], np.int64)

    def _next_older(self, at: int, now: list[int]) -> int | None:
        """Return the newest block before one that is as now; None where the riding begins."""
        older = range(max(at - BEFORE_BLOCKS, 0), at)
        # The newest of them alone, too: the older one may lie before a change.
        if not (self._changed(older, now) and self._changed(range(at - 1, at), now)):
            return at - 1
        return self._beyond_transition(at, now)

    def _beyond_transition(self, at: int, now: list[int]) -> int | None:
        """Return the newest block as now beyond a transition; None where there is none."""
        oldest = max(at - 1 - PASSING_BLOCKS, BEYOND_BLOCKS - 1)
        for last in range(at - 2, oldest - 1, -1):
            if not self._changed(range(last - BEYOND_BLOCKS + 1, last + 1), now):
                return last
        return None

    def _changed(self, older: range, now: list[int]) -> bool:
        """Return whether the rider changed something between some blocks and those as now."""
        course = self._course[older[-1]]
        near = [block for block in now if is_along(self._course[block], course)]
        return (
            self._both_changed(older, near or now)
            or self._power_stepped(older, near[-BEFORE_BLOCKS:])
            or self._held_power_changed(older, near or now)
        )

    def _both_changed(self, older: range, now: list[int]) -> bool:
        """Return whether power and speed differ in the same direction."""
        power, speed = _rise(self._power, older, now), _rise(self._speed, older, now)
        return power * speed > 0 and abs(power) > POWER_CHANGED and abs(speed) > SPEED_CHANGED

    def _power_stepped(self, older: range, near: list[int]) -> bool:
        """Return whether power stepped on a straight course, between neighbouring blocks."""
        settled = bool(near) and all(self._settled[block] for block in near)
        if not settled or any(self._turned[block] for block in older):
            return False
        return abs(_rise(self._power, older, near)) > POWER_STEPPED

    def _held_power_changed(self, older: range, now: list[int]) -> bool:
        """Return whether a held power had another level, other than by a load at one throttle."""
        if not self._holds_power:
            return False
        power = _rise(self._power, older, now)
        return abs(power) > HELD_POWER_CHANGED and not self._throttle_stayed(older, now)

    def _throttle_stayed(self, older: range, now: list[int]) -> bool:
        before, after = _mean(self._throttle, older), _mean(self._throttle, now)
        return abs(before - after) < THROTTLE_CHANGED * after


def _mean(column: list[float], blocks: Sequence[int]) -> float:
    return sum([column[block] for block in blocks]) / len(blocks)


def _rise(column: list[float], older: Sequence[int], now: Sequence[int]) -> float:
    """Return by how much a column was higher."""
    return _mean(column, older) - _mean(column, now)


def _turned(course: FloatArray, straight: FloatArray) -> Bools:
    """Return in which blocks the craft turned, shape (n,)."""
    turned = straight < TURNED_STRAIGHT_LEAST
    turned[1:] |= angle(course[1:], course[:-1]) > np.radians(TURNED_DEG)
    return turned


def _settled(turned: Bools) -> Bools:
    """Return which blocks lie long enough after the last turn, shape (n,)."""
    block = np.arange(len(turned))
    last_turn = np.maximum.accumulate(np.where(turned, block, -AFTER_TURN_BLOCKS))
    return np.asarray(block - last_turn >= AFTER_TURN_BLOCKS)


def _scatter(steps: FloatArray) -> float:
    """Return the standard deviation of blocks, from the steps between them; infinite with none.

    A step is the difference of two blocks, hence the root of two. The median is robust against
    steps that the rider made.
    """
    return SD_PER_MEDIAN * median(np.abs(steps)) / 2**0.5 if len(steps) else np.inf
