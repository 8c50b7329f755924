"""The present way of riding: how far back 'as now' reaches, and what it costs.

A range answers how far the craft gets if ridden on as now. What the rider holds (a throttle, a
power, a speed over ground) is not reported, so 'now' is found from its effect, in blocks of 10 s
under way.

**Where it begins** (`like_blocks`). Power and speed that change in the same direction are the
rider's doing. A change of only one of them, or of both in opposite directions, is water current or
wind, which a return trip averages out. A turn disturbs both while the craft settles on its new
course: blocks that differ are left out, not taken for a change, if riding as now lies beyond them
within `PASSING_BLOCKS`.

**What it costs.** The mean over its blocks. On several legs it is unknown whether the last one or
all of them go on: the last leg enters with a share of one over the number of legs (`legs`). The
first seconds at a new throttle say little, as the craft is still settling: the mean is then drawn
to the ride's own line of ln Wh/km over ln power (`consumption_line`), each weighted by its
variance.

**Its variance** is that of a future mean about this past one. It follows from the variance of
blocks and the correlation of neighbouring ones, both shrunk towards priors worth a few blocks, from
the legs' differences, and from how young the riding is.

**A held throttle** draws less as the voltage falls: see `sagging`.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.meters.steadiness import MOVING_MPS
from onboard.efficiency.riding.common_practice import (
    COURSES_CHANGE,
    LEG_COURSE_DEG,
    OTHER_COURSE_SD_FRACTION,
    OTHER_COURSE_SHARE,
    RIDING_CORRELATION,
    RIDING_SD_FRACTION,
    RIDING_SD_WORTH,
    SETTLING_SD_FRACTIONS,
)
from onboard.efficiency.riding.consumption_line import line_at
from onboard.efficiency.riding.like_blocks import Indices, LikeBlocks, angle
from onboard.efficiency.riding.sagging import NO_SAG, Sag, sag
from onboard.efficiency.riding.to_and_fro import Turning, turning
from onboard.efficiency.sources.settled_seconds import SettledSeconds

BLOCK_S = 10
"""Length of a block [s]."""

BLOCKS_MOST = 720
"""Blocks stored at most: two hours under way."""

YOUNGEST_S = 20
"""Riding under way before anything is stated [s]."""

OPEN_LEAST_S = 5
"""Seconds from which an unfinished block counts as one."""

STILL_S, LOSING_WAY_BLOCKS, LOSING_WAY_FRACTION = 5, 3, 0.8
"""Time at rest that is a stop [s]; blocks before it that may have led to it, and the share of the
speed before from which a block has lost way."""

YOUNG_BLOCKS = 12
"""Blocks up to which a first riding counts as new."""

FRO_BLOCKS_LEAST = 3
"""Blocks on the way back from which they are measured."""

LATELY = 12
"""Blocks before the riding whose courses the line is taken to be of."""

NEWEST, NEWEST_BEYOND_SD = ((1, 1.0), (3, 1.0), (12, 2.5)), 2.0
"""Newest blocks whose mean is compared with that of all, and the standard deviations that lie
between the two, as far as they are further apart than blocks scatter: a change that only the newest
show may last, and may go on. And that scatter, in standard deviations."""

POWER, SPEED, VOLTS, EAST, NORTH, THROTTLE, STRAIGHT = range(7)
"""Columns of a block: means of each, and the length of the mean unit vector of its course."""


@dataclass(frozen=True)
class Scatter:
    """Relative variance of a mean so far, and of the blocks to come about it.

    Parameters
    ----------
    mean_variance
        Of the mean so far.
    block_variance, correlation
        Of a block about the mean, and the correlation of neighbouring blocks.
    """

    mean_variance: float
    block_variance: float
    correlation: float

    def widened(self, variance: float) -> "Scatter":
        """Return the same with a larger variance of the mean so far."""
        return replace(self, mean_variance=self.mean_variance + variance)

    def to_come(self, ahead_s: float) -> float:
        """Return the relative variance of the mean over the next `ahead_s` [s] about the true one.

        Examples
        --------
        >>> round(Scatter(0.001, 0.004, 0.5).to_come(300.0), 6)
        0.0004
        """
        blocks = max(ahead_s, BLOCK_S) / BLOCK_S
        worth = (1 + self.correlation) / (1 - self.correlation) / blocks
        return self.block_variance * min(worth, 1.0)


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
    courses: tuple[tuple[float, float], ...] = ()
    sag: Sag = NO_SAG


class PresentRiding:
    """Store blocks of riding, and find those ridden as now."""

    def __init__(self) -> None:
        self._blocks: list[tuple[float, ...]] = []
        self._open: list[FloatArray] = []
        """Seconds of the unfinished block."""
        self._still_s = 0
        self._now: Riding | Unknown | None = None
        """Cached result as of the last second."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order."""
        self._now = None
        columns = (
            seconds.power_w, seconds.distance_m, seconds.volts_v, seconds.east_mps,
            seconds.north_mps, seconds.throttle_fraction,
        )  # fmt: skip
        rows = np.stack(columns, axis=1)
        no_course = ~np.isfinite(rows[:, [EAST, NORTH]]).all(axis=1)
        rows[no_course, EAST], rows[no_course, NORTH] = 0.0, rows[no_course, SPEED]
        known = np.isfinite(rows[:, : VOLTS + 1]).all(axis=1)
        for row, moving in zip(rows[known], rows[known, SPEED] > MOVING_MPS, strict=True):
            self._fold_second(row, moving=bool(moving))

    def _fold_second(self, row: FloatArray, *, moving: bool) -> None:
        if not moving:
            self._still_s += 1
            if self._still_s == STILL_S:
                self._drop_way_off()
            return
        self._still_s = 0
        self._open.append(row)
        if len(self._open) == BLOCK_S:
            self._blocks.append(_block(np.array(self._open)))
            self._open.clear()
            del self._blocks[:-BLOCKS_MOST]

    def _drop_way_off(self) -> None:
        """Drop the blocks in which the craft lost way until it stopped: no riding to go on with."""
        self._open.clear()
        for _ in range(LOSING_WAY_BLOCKS):
            if len(self._blocks) < 2 or (
                self._blocks[-1][SPEED] > LOSING_WAY_FRACTION * self._blocks[-2][SPEED]
            ):
                return
            self._blocks.pop()

    def now(self) -> Riding | Unknown:
        """Return the present way of riding."""
        if self._now is None:
            self._now = self._riding()
        return self._now

    def _riding(self) -> Riding | Unknown:
        if len(self._blocks) * BLOCK_S + len(self._open) < YOUNGEST_S:
            return Unknown(Reason.TOO_LITTLE_RIDING)
        rows = [*self._blocks]
        if len(self._open) >= OPEN_LEAST_S:
            # An unfinished block is the first to show a change.
            rows.append(_block(np.array(self._open)))
        blocks = np.array(rows)
        like = LikeBlocks(blocks).found()
        if float(blocks[like, POWER].mean()) <= 0:
            return Unknown(Reason.NO_ENERGY_DRAWN)
        return _riding(blocks, like)


def _block(rows: FloatArray) -> tuple[float, ...]:
    means = rows[:, :THROTTLE].mean(axis=0)
    throttle = rows[:, THROTTLE]
    throttle = throttle[np.isfinite(throttle)]
    over_ground = np.maximum(np.hypot(rows[:, EAST], rows[:, NORTH]), 1e-9)
    straight = np.hypot(*(rows[:, [EAST, NORTH]] / over_ground[:, None]).mean(axis=0))
    middle = float(throttle.mean()) if len(throttle) else math.nan
    return (*means.tolist(), middle, float(straight))


def _riding(blocks: FloatArray, like: Indices) -> Riding:
    """Return the riding of the blocks at these indices, given all before them."""
    now = blocks[like]
    course = np.arctan2(now[:, EAST], now[:, NORTH])
    apart = angle(course, course[-1])
    here = apart < math.radians(LEG_COURSE_DEG)
    follows = sag(now, np.where(here, 0, 1))
    # As of the present voltage.
    volts = float(now[-3:, VOLTS].mean())
    fresh = np.log(volts / now[:, VOLTS])
    draw = np.log(np.maximum(now[:, POWER], 1e-3)) + follows.by_volts * fresh
    cost = draw - np.log(now[:, SPEED]) - follows.by_volts * follows.of_speed * fresh
    age = np.zeros(len(like))
    if like[0] > 0 or len(like) < YOUNG_BLOCKS:
        age[: len(SETTLING_SD_FRACTIONS)] = SETTLING_SD_FRACTIONS[: len(like)]
    ln_power, draws = _mean(draw[here], age[here])
    ln_cost, costs = _mean(cost[here], age[here])
    before = blocks[np.setdiff1d(np.arange(len(blocks)), like)]
    line = line_at(before[:, POWER], before[:, SPEED], ln_power)
    if line is not None:
        at, variance = line
        lately = np.arctan2(before[-LATELY:, EAST], before[-LATELY:, NORTH])
        if not (angle(lately, course[-1]) < math.radians(LEG_COURSE_DEG)).any():
            variance += OTHER_COURSE_SD_FRACTION**2
        ln_cost, costs = _drawn_to(at, variance, ln_cost, costs)
    back = turning(blocks)
    fro = apart > math.pi - math.radians(LEG_COURSE_DEG)
    mean = _Mean(ln_power, ln_cost, draws, costs)
    course_deg = float(np.degrees(course[-1]) % 360.0)
    courses: tuple[tuple[float, float], ...] = ((course_deg, 1.0),)
    if back is not None:
        fro = apart > math.pi - math.radians(LEG_COURSE_DEG)
        mean = _both_ways(mean, back, draw[fro], cost[fro])
        if back.chance > 0.5:
            courses = tuple(sorted([(course_deg, 0.5), ((course_deg + 180.0) % 360.0, 0.5)]))
    elif not here.all():
        # Other courses: unknown whether they are ridden again.
        share = OTHER_COURSE_SHARE * float((~here).mean())
        by_power = share * (float(draw[~here].mean()) - ln_power)
        by_cost = share * (float(cost[~here].mean()) - ln_cost)
        mean = mean.moved(by_power, by_cost, by_power**2, by_cost**2)
    power = math.exp(mean.ln_power)
    return Riding(
        power,
        power / math.exp(mean.ln_cost),
        volts,
        float(len(like) * BLOCK_S),
        mean.costs,
        mean.draws,
        courses,
        follows,
    )


@dataclass(frozen=True)
class _Mean:
    """Logarithms of power and of power over speed, with their scatter."""

    ln_power: float
    ln_cost: float
    draws: Scatter
    costs: Scatter

    def moved(
        self, by_power: float, by_cost: float, power_variance: float, cost_variance: float
    ) -> "_Mean":
        return _Mean(
            self.ln_power + by_power,
            self.ln_cost + by_cost,
            self.draws.widened(power_variance),
            self.costs.widened(cost_variance),
        )


def _both_ways(mean: _Mean, back: Turning, fro_draw: FloatArray, fro_cost: FloatArray) -> _Mean:
    """Return the mean over both directions, as far as the craft is likely to turn round."""
    power, cost, variance = (
        mean.ln_power + back.ln_power,
        mean.ln_cost + back.ln_cost,
        back.variance,
    )
    if len(fro_cost) >= FRO_BLOCKS_LEAST:
        seen_power, _ = _mean(fro_draw, np.zeros(len(fro_draw)))
        seen_cost, scatter = _mean(fro_cost, np.zeros(len(fro_cost)))
        share = variance / (variance + scatter.mean_variance)
        power += share * (seen_power - power)
        cost += share * (seen_cost - cost)
        variance *= 1.0 - share
    # Over equal distances both consumptions count alike, and both times in proportion.
    both_cost = float(np.logaddexp(mean.ln_cost, cost)) - math.log(2.0)
    slow = np.logaddexp(mean.ln_cost - mean.ln_power, cost - power)
    by_cost = both_cost - mean.ln_cost
    by_power = both_cost - (float(slow) - math.log(2.0)) - mean.ln_power
    share = math.exp(cost - both_cost) / 2.0
    turned = back.chance * share**2 * (variance + (COURSES_CHANGE * (cost - mean.ln_cost)) ** 2)
    doubt = back.chance * (1.0 - back.chance)
    return mean.moved(
        back.chance * by_power,
        back.chance * by_cost,
        turned + doubt * by_power**2,
        turned + doubt * by_cost**2,
    )


def _mean(values: FloatArray, settling_sd: FloatArray) -> tuple[float, Scatter]:
    """Return the mean of blocks' logarithms, and its scatter."""
    weights = 1.0 / (1.0 + (settling_sd / RIDING_SD_FRACTION) ** 2)
    weights = weights / weights.sum()
    mean = float(weights @ values)
    about = values - mean
    variance, correlation = _variance(about), _correlation(about)
    worth = max(1.0, float(1.0 / (weights**2).sum()) * (1 - correlation) / (1 + correlation))
    settled = float((weights * settling_sd) @ (weights * settling_sd))
    newest = (_lasting(values, mean, variance, *window) for window in NEWEST)
    return mean, Scatter(variance / worth + settled + max(newest), variance, correlation)


def _lasting(values: FloatArray, mean: float, variance: float, blocks: int, parts: float) -> float:
    """Return the variance from not knowing whether the newest blocks' difference will last."""
    newest = values[-blocks:]
    apart = (float(newest.mean()) - mean) ** 2 - NEWEST_BEYOND_SD**2 * variance / len(newest)
    return max(apart, 0.0) / parts**2


def _drawn_to(
    line: float, line_variance: float, mean: float, scatter: Scatter
) -> tuple[float, Scatter]:
    """Return a mean drawn to the line's value, each weighted by its variance."""
    share = line_variance / (line_variance + scatter.mean_variance)
    drawn = line + share * (mean - line)
    return drawn, Scatter(
        share * scatter.mean_variance, scatter.block_variance, scatter.correlation
    )


def _variance(residuals: FloatArray) -> float:
    known = RIDING_SD_WORTH * RIDING_SD_FRACTION**2 + float(residuals @ residuals)
    return known / (RIDING_SD_WORTH + max(len(residuals) - 1, 0))


def _correlation(residuals: FloatArray) -> float:
    """Return the lag-one correlation, shrunk towards the prior."""
    floor = 10 * RIDING_SD_FRACTION**2 / 4
    lagged = float(residuals[1:] @ residuals[:-1]) + RIDING_CORRELATION * floor
    return min(max(lagged / (float(residuals @ residuals) + floor), 0.0), 0.95)
