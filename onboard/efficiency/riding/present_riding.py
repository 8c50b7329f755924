"""The present way of riding: how far back 'as now' reaches, and what it costs.

A range answers how far the craft gets if ridden on as now. What the rider holds (a throttle, a
power, a speed over ground) is not reported, so 'now' is found from its effect, in blocks of 10 s
under way (`ridden_blocks`, `block_store`).

**Where it begins** (`like_blocks`). Power and speed that change in the same direction are the
rider's doing. A change of only one of them, or of both in opposite directions, is water current or
wind, which a return trip averages out.

**What it costs** (`scatter`). The mean of ln P and of ln P/v over its blocks on the present course.
The first seconds at a new throttle say little, as the craft still gains or loses way: the mean is
drawn to the ride's own line of ln Wh/km over ln power (`consumption_line`).

**Other courses.** Of a craft that goes to and fro, both directions count for the same distance
(`both_ways`). Otherwise it is unknown whether earlier courses are ridden again: they enter with a
small share, and widen the variance by as much as they move the mean.

**Its variance** is that of a future mean about this past one: from the scatter of blocks, from how
young the riding is, and from courses and changes of which nobody knows whether they go on.

**A held throttle** draws less as the voltage falls (`sagging`): all blocks are brought to the
present voltage.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.riding.block_store import BlockStore
from onboard.efficiency.riding.both_ways import both_ways
from onboard.efficiency.riding.common_practice import (
    OTHER_COURSE_SD_FRACTION,
    OTHER_COURSE_SHARE,
    SETTLING_SD_FRACTIONS,
)
from onboard.efficiency.riding.consumption_line import line_at
from onboard.efficiency.riding.courses import Bools, Indices, against, along
from onboard.efficiency.riding.like_blocks import LikeBlocks
from onboard.efficiency.riding.ridden_blocks import (
    BLOCK_S,
    POWER,
    SPEED,
    VOLTS,
    course_rad,
    ln_power,
    ln_speed,
)
from onboard.efficiency.riding.sagging import NO_SAG, Sag, sag
from onboard.efficiency.riding.scatter import LogMean, RidingMean, Scatter, log_mean
from onboard.efficiency.riding.to_and_fro import Turning, turning
from onboard.efficiency.sources.settled_seconds import SettledSeconds

YOUNGEST_S = 20
"""Riding under way before anything is stated [s]."""

YOUNG_BLOCKS = 12
"""Blocks up to which a first riding counts as new."""

LATELY_BLOCKS = 12
"""Blocks before the riding whose courses the line is taken to be of."""

PRESENT_VOLTS_BLOCKS = 3
"""Newest blocks whose mean is the present voltage."""

Courses = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Riding:
    """The present way of riding, measured.

    Parameters
    ----------
    power_w, speed_mps, volts_v
        Means under way; power over speed is the consumption.
    seconds_s
        Time under way that they are based on [s].
    cost, draw
        Scatter of the consumption and of the power.
    courses
        Courses over ground [deg] with their shares of the distance, rising; none if unknown.
    sag
        How power follows the voltage.
    """

    power_w: float
    speed_mps: float
    volts_v: float
    seconds_s: float
    cost: Scatter
    draw: Scatter
    courses: Courses = ()
    sag: Sag = NO_SAG


class PresentRiding:
    """Store what is ridden, and find the present way of it."""

    def __init__(self) -> None:
        self._ridden = BlockStore()
        self._now: Riding | Unknown | None = None
        """Cached result as of the last second."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order."""
        if self._ridden.fold(seconds):
            self._now = None

    def now(self) -> Riding | Unknown:
        """Return the present way of riding."""
        if self._now is None:
            self._now = self._find()
        return self._now

    def _find(self) -> Riding | Unknown:
        if self._ridden.seconds_s < YOUNGEST_S:
            return Unknown(Reason.TOO_LITTLE_RIDING)
        blocks = self._ridden.blocks()
        if not len(blocks):
            return Unknown(Reason.NO_ENERGY_DRAWN)
        like = LikeBlocks(blocks).found()
        if float(blocks[like, POWER].mean()) <= 0:
            return Unknown(Reason.NO_ENERGY_DRAWN)
        return _riding(blocks, like)


def _riding(blocks: FloatArray, like: Indices) -> Riding:
    """Return the riding of the blocks at these indices, given all before them."""
    now = blocks[like]
    course = course_rad(now)
    here = along(course, course[-1])
    follows = sag(now, np.where(here, 0, 1))
    volts = float(now[-PRESENT_VOLTS_BLOCKS:, VOLTS].mean())
    draw, cost = _at_volts(volts, now, follows)
    settling_sd = _settling_sd(like)[here]
    mean = RidingMean(log_mean(draw[here], settling_sd), log_mean(cost[here], settling_sd))
    others = np.ones(len(blocks), np.bool_)
    others[like] = False
    before = blocks[others]
    mean = _drawn_to_line(mean, before, course[-1])
    back = turning(blocks)
    if back is not None:
        way_back = against(course, course[-1])
        mean = both_ways(mean, back, draw[way_back], cost[way_back])
    elif not here.all():
        mean = _with_other_courses(mean, draw, cost, ~here)
    power = math.exp(mean.draw.value)
    return Riding(
        power_w=power,
        speed_mps=power / math.exp(mean.cost.value),
        volts_v=volts,
        seconds_s=float(len(like) * BLOCK_S),
        cost=mean.cost.scatter,
        draw=mean.draw.scatter,
        courses=_courses(course[-1], back),
        sag=follows,
    )


def _at_volts(volts: float, blocks: FloatArray, follows: Sag) -> tuple[FloatArray, FloatArray]:
    """Return the blocks' ln power and ln cost as they would be at a voltage."""
    ln_volts = np.log(volts / blocks[:, VOLTS])
    draw = ln_power(blocks) + follows.by_volts * ln_volts
    speed_gained = follows.by_volts * follows.of_speed * ln_volts
    return draw, draw - ln_speed(blocks) - speed_gained


def _settling_sd(like: Indices) -> FloatArray:
    """Return the standard deviation of each block from the craft's still settling."""
    sds = np.zeros(len(like))
    if like[0] > 0 or len(like) < YOUNG_BLOCKS:
        sds[: len(SETTLING_SD_FRACTIONS)] = SETTLING_SD_FRACTIONS[: len(like)]
    return sds


def _drawn_to_line(mean: RidingMean, before: FloatArray, course: float) -> RidingMean:
    """Return the mean with its cost drawn to the line of the riding before."""
    line = line_at(before[:, POWER], before[:, SPEED], mean.draw.value)
    if line is None:
        return mean
    cost, variance = line
    if not along(course_rad(before[-LATELY_BLOCKS:]), course).any():
        variance += OTHER_COURSE_SD_FRACTION**2
    return RidingMean(mean.draw, mean.cost.drawn_to(cost, variance))


def _with_other_courses(
    mean: RidingMean, draw: FloatArray, cost: FloatArray, other: Bools
) -> RidingMean:
    """Return the mean with a share of the blocks on other courses, which may be ridden again."""
    share = OTHER_COURSE_SHARE * float(other.mean())

    def moved(one: LogMean, values: FloatArray) -> LogMean:
        by = share * (float(values[other].mean()) - one.value)
        return one.moved(by, by**2)

    return RidingMean(moved(mean.draw, draw), moved(mean.cost, cost))


def _courses(course: float, back: Turning | None) -> Courses:
    """Return the courses to come [deg] with their shares: the present one, or both directions."""
    course_deg = float(np.degrees(course) % 360.0)
    if back is None or not back.is_likely:
        return ((course_deg, 1.0),)
    return tuple(sorted([(course_deg, 0.5), ((course_deg + 180.0) % 360.0, 0.5)]))
