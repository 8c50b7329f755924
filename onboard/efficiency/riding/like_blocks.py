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

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.meters.steadiness import POWER_CHANGED, SPEED_CHANGED
from onboard.efficiency.riding.common_practice import (
    HELD_POWER_CHANGED,
    HELD_POWER_SD,
    LEG_COURSE_DEG,
    POWER_STEPPED,
    THROTTLE_CHANGED,
    TURNED_DEG,
    TURNED_STRAIGHT_LEAST,
)

BEFORE, NEAR = 2, 12
"""Blocks before a boundary, and after it, whose means are compared."""

PASSING_BLOCKS, BEYOND = 9, 3
"""Longest transition, and blocks that must be as now beyond it."""

AFTER_TURN_BLOCKS = 4
"""Blocks after a turn in which the craft still settles."""

LIKE_COURSE_RAD = np.radians(LEG_COURSE_DEG)

Indices = npt.NDArray[np.int64]


def angle(a: FloatArray, b: FloatArray | float) -> FloatArray:
    """Return the angle between courses [rad], 0 to pi."""
    return np.asarray(np.abs((a - b + np.pi) % (2 * np.pi) - np.pi))


class LikeBlocks:
    """Find the blocks ridden as now.

    Parameters
    ----------
    blocks
        Power, speed and more, as in `present_riding`, shape (n, 7), oldest first.
    """

    def __init__(self, blocks: FloatArray) -> None:
        self._logs = np.log(np.maximum(blocks[:, :2], 1e-3))
        self._throttle = blocks[:, 5]
        turned = blocks[:, 6] < TURNED_STRAIGHT_LEAST
        self._course = np.arctan2(blocks[:, 3], blocks[:, 4])
        turned[1:] |= angle(self._course[1:], self._course[:-1]) > np.radians(TURNED_DEG)
        self._turned = turned
        last = np.where(turned, np.arange(len(blocks)), -AFTER_TURN_BLOCKS)
        self._settled = np.arange(len(blocks)) - np.maximum.accumulate(last) >= AFTER_TURN_BLOCKS
        steps = np.abs(np.diff(self._logs[:, 0]))[~turned[1:]]
        # Of differences of two; the median is robust against the steps themselves.
        self._sd = 1.4826 * float(np.median(steps[-NEAR:])) / 2**0.5 if len(steps) else np.inf

    def found(self) -> Indices:
        """Return the indices of the blocks ridden as now, rising; the last block is one of them."""
        at = len(self._logs) - 1
        like = [at]
        while at > 0:
            here = like[-NEAR:]
            older = list(range(max(at - BEFORE, 0), at))
            # The newest of them alone, too: the older one may lie before a change.
            if not (self._changed(older, here) and self._changed([at - 1], here)):
                at -= 1
            else:
                beyond = self._beyond(here, at)
                if beyond is None:
                    break
                at = beyond
            like.append(at)
        return np.array(like[::-1], np.int64)

    def _beyond(self, here: list[int], at: int) -> int | None:
        """Return the newest block beyond a transition that is as now; None where there is none."""
        for last in range(at - 2, max(at - 2 - PASSING_BLOCKS, BEYOND - 2), -1):
            if not self._changed(list(range(last - BEYOND + 1, last + 1)), here):
                return last
        return None

    def _changed(self, older: list[int], here: list[int]) -> bool:
        """Return whether the rider changed something between some blocks and those as now."""
        apart = angle(self._course[here], self._course[older[-1]])
        near = [block for block, off in zip(here, apart, strict=True) if off < LIKE_COURSE_RAD]
        power, speed = self._apart(older, near or here)
        if power * speed > 0 and abs(power) > POWER_CHANGED and abs(speed) > SPEED_CHANGED:
            return True
        next_to = near[-BEFORE:]
        if next_to and self._settled[next_to].all() and not self._turned[older].any():
            stepped, _ = self._apart(older, next_to)
            if abs(stepped) > POWER_STEPPED:
                return True
        return bool(
            self._sd < HELD_POWER_SD
            and abs(power) > HELD_POWER_CHANGED
            and not self._throttle_stayed(older, near or here)
        )

    def _apart(self, older: list[int], here: list[int]) -> tuple[float, float]:
        power, speed = self._logs[older].mean(axis=0) - self._logs[here].mean(axis=0)
        return float(power), float(speed)

    def _throttle_stayed(self, older: list[int], here: list[int]) -> bool:
        before, after = float(self._throttle[older].mean()), float(self._throttle[here].mean())
        return abs(before - after) < THROTTLE_CHANGED * after
