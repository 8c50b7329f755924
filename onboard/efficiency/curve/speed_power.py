"""The joint estimate of the speed-power curve and of the set and drift, by least squares.

A steady block says: at power P the craft went with velocity g over ground. If the water moves with
velocity c, its speed through the water was w = |g - c|, and it lies on the curve at P. Unknown are
c and the curve. Blocks at like power on several courses lie on a circle about c: that determines
it, without a compass. What acts like moving water counts as such: c includes the push of the wind.

The curve is ln w at knots of ln P: power is measured well and speed is not, and a curve fitted the
other way round would come out too flat. All that is assumed of its shape is that its slope
m = d ln w / d ln P changes gradually, from 1 at a hotel load to 1/8 at hull speed if need be.
A cubic (1/3 throughout) is no part of it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.curve.courses import lines
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.curve.turning import Circle
from onboard.efficiency.curve.water_walk import WaterKnots
from onboard.efficiency.statistics.chauvenet import inliers_keeping_most
from onboard.efficiency.statistics.shared_errors import Z_95
from onboard.efficiency.statistics.students_t import quantile

Bools = npt.NDArray[np.bool_]

LEAST_W, MOST_W, SPACING = 2.0, 30_000.0, 0.15
KNOTS = np.arange(np.log(LEAST_W), np.log(MOST_W), SPACING)

SLOPE_WALK = 0.15
"""Variance of the slope's change over a unit of ln P. Residuary resistance of the Delft series
asks for 0.01 (1/5 to 1/8.5 between Froude numbers of 0.30 and 0.38), a hotel load for more."""

SLOPE, SLOPE_SD, SLOPE_LEAST = 0.37, 0.35, 0.1
LEVEL_W, LEVEL_LN_MPS, LEVEL_SD = 200.0, np.log(2.0), 2.0
"""What is taken for granted without any data, loosely."""

WATER_SD_MPS = 0.3
"""Each axis: what the water may do before it is known. Common practice, no source."""

VELOCITY_SD_MPS, SCALE_BLOCKS = 0.025, 6.0
"""How far a block's speed is off the curve (noise, waves, gusts) until the residuals tell, and how
many blocks that guess is worth."""

POWER_SD_FRACTION = 0.01
SHARED_SD = 0.005
"""Of ln w: what all blocks of a ride share, so that no number of them takes it away. Common
practice, no source."""

LEFT_LEAST = 0.3
"""A craft that keeps less than this of its speed against the water across its course is not one
that the curve is learned from."""

OUTLIER_SD = 3.0
ROUNDS, HALVINGS = 12, 5
SETTLED_MPS = 1e-4


@dataclass(frozen=True)
class Posterior:
    """What is known of water and curve.

    Parameters
    ----------
    water_mps
        Set and drift at the last block, east and north, shape (2,).
    ln_speed
        The curve: ln w at `KNOTS`, shape (k,), rising.
    covariance
        Of both, in that order, shape (2 + k, 2 + k). It is widened so that intervals of the normal
        distribution have the width that Student's t asks for.
    seen_mps
        Lowest and highest speed through water that it rests on.
    blocks
        How many steady blocks it rests on, carried ones not counted.
    velocity_sd_mps
        How far a block's speed is off the curve.
    course_variance
        Mean variance of the water's part along the courses ridden [m^2/s^2].
    """

    water_mps: FloatArray
    ln_speed: FloatArray
    covariance: FloatArray
    seen_mps: tuple[float, float]
    blocks: int
    velocity_sd_mps: float
    course_variance: float

    def ln_power_at(self, through_water_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ln P and the slope m there for speeds through water, shape (n,)."""
        ln_power = np.interp(np.log(np.maximum(through_water_mps, 1e-3)), self.ln_speed, KNOTS)
        slope = np.maximum(knot_weights(ln_power) @ _slope(self.ln_speed), SLOPE_LEAST)
        return ln_power, slope

    def curve_variance(self, through_water_mps: FloatArray) -> FloatArray:
        """Return the variance of ln P at speeds through water, shape (n,)."""
        ln_power, slope = self.ln_power_at(through_water_mps)
        rows = knot_weights(ln_power) / slope[:, None]
        return quadratic(rows, self.covariance[2:, 2:]) + (SHARED_SD / slope) ** 2

    def at_velocity(self, velocity_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ln P and its variance for velocities over ground (east, north), shape (n, 2)."""
        off = velocity_mps - self.water_mps
        through = np.maximum(np.hypot(off[:, 0], off[:, 1]), 0.05)
        ln_power, slope = self.ln_power_at(through)
        by_water = -off / through[:, None] ** 2
        rows = np.concatenate([by_water, -knot_weights(ln_power)], axis=1) / slope[:, None]
        return ln_power, quadratic(rows, self.covariance) + (SHARED_SD / slope) ** 2


@dataclass(frozen=True)
class Carried:
    """A curve learned earlier: ln w at some of the `KNOTS`, with its covariance."""

    first_knot: int
    ln_speed: FloatArray
    covariance: FloatArray
    seen_mps: tuple[float, float]


def quadratic(rows: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return r' M r for each row r; shapes (n, k) and (k, k)."""
    forms = rows @ matrix
    forms *= rows
    form: FloatArray = forms.sum(axis=1)
    return form


def knot_weights(ln_power: FloatArray) -> FloatArray:
    """Return the weights by which knots interpolate at ln P, shape (n, k); held beyond the ends."""
    place = np.clip((ln_power - KNOTS[0]) / SPACING, 0.0, len(KNOTS) - 1.0)
    low = np.minimum(place.astype(np.int64), len(KNOTS) - 2)
    weights = np.zeros((len(ln_power), len(KNOTS)))
    rows = np.arange(len(ln_power))
    weights[rows, low] = 1.0 - (place - low)
    weights[rows, low + 1] = place - low
    return weights


def fit(
    blocks: list[SteadyBlock],
    circles: list[Circle],
    carried: Carried | None = None,
    water_sd_mps: float = WATER_SD_MPS,
    near: Posterior | None = None,
) -> Posterior:
    """Fit water and curve to steady blocks.

    Parameters
    ----------
    blocks
        At least one, oldest first.
    circles
        Centres of full turns.
    carried
        A curve from earlier rides.
    water_sd_mps
        What the water may do (0 holds it at rest: then the curve is in speed over ground).
    near
        A fit of nearly the same blocks, to start from; None: from nothing, in two ways.
    """
    data = _Data(blocks, fixed=water_sd_mps == 0)
    normal, right = _prior(data.knots, max(water_sd_mps, 1e-4))
    _add_circles(normal, right, circles, data.knots)
    if carried is not None:
        _add_carried(normal, right, carried)
    if near is not None:
        starts = [(near.water_mps, near.ln_speed)]
    else:
        waters = (np.zeros(2), _start_water(data, water_sd_mps))
        starts = [(water, start_curve(carried)) for water in waters]
    results = [_converge(data, normal, right, water, curve) for water, curve in starts]
    best = min(results, key=lambda result: result.cost)
    off = data.off(best.water)
    through = np.hypot(off[:, 0], off[:, 1])
    count = data.knots.count
    along = data.water_rows(data.course)
    of_water = best.covariance[: 2 * count, : 2 * count]
    present = [0, count, *range(2 * count, 2 * count + len(KNOTS))]
    return Posterior(
        best.water[:, 0],
        rising(best.curve),
        best.covariance[np.ix_(present, present)],
        _seen(through[best.used], carried),
        len(blocks),
        float(np.sqrt(best.scale)),
        float(quadratic(along, of_water).mean()),
    )


class _Data:
    """The blocks as columns, and the knots of the water's motion over their time.

    Unknowns are in this order: water east at its knots, north at its knots, the curve.
    """

    def __init__(self, blocks: list[SteadyBlock], *, fixed: bool) -> None:
        rows = np.array([[b.t_s, b.power_w, b.power_sd_w, b.east_mps, b.north_mps] for b in blocks])
        self.t_s, self.velocity, self.ln_power = rows[:, 0], rows[:, 3:], np.log(rows[:, 1])
        self.power_variance = (rows[:, 2] / rows[:, 1]) ** 2 + POWER_SD_FRACTION**2
        self.knots = WaterKnots(self.t_s, fixed=fixed)
        self.of_time = self.knots.weights(self.t_s)
        self.of_power = knot_weights(self.ln_power)
        self.speed = np.maximum(np.hypot(self.velocity[:, 0], self.velocity[:, 1]), 1e-3)
        self.course = lines(self.velocity)
        self.side = self.course[:, ::-1] * np.array([1.0, -1.0])

    def off(self, water: FloatArray) -> FloatArray:
        """Return the velocities through the water, which has shape (2, knots); shape (n, 2)."""
        off: FloatArray = self.velocity - self.of_time @ water.T
        return off

    def model(self, water: FloatArray, curve: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the speeds over ground on the courses made good, and their slopes by the unknowns.

        A rider holds a course over ground. On it the speed is that of the water along it, and of
        the craft's speed through water what crabbing against the water across it leaves. Errors of
        speed lie along it; a distance from the circle about c would miss those that lie across the
        heading, and so be least where the water sets strongly across all courses.
        """
        moves = self.of_time @ water.T
        along = (moves * self.course).sum(axis=1)
        across = (moves * self.side).sum(axis=1)
        through = np.exp(self.of_power @ curve)
        left = np.sqrt(np.maximum(through**2 - across**2, (LEFT_LEAST * through) ** 2))
        by_water = self.course - (across / left)[:, None] * self.side
        by_curve = (through**2 / left)[:, None] * self.of_power
        return along + left, np.concatenate([self.water_rows(by_water), by_curve], axis=1)

    def water_rows(self, by_velocity: FloatArray) -> FloatArray:
        """Turn derivatives by the water at each block (n, 2) into those by its knots."""
        east, north = by_velocity[:, :1], by_velocity[:, 1:]
        return np.concatenate([self.of_time * east, self.of_time * north], axis=1)


@dataclass(frozen=True)
class _Result:
    water: FloatArray
    curve: FloatArray
    covariance: FloatArray
    scale: float
    used: Bools
    cost: float


def _start_water(data: _Data, water_sd_mps: float) -> FloatArray:
    """Return the water for which all blocks lie on one power law: |g - c|^2 = V^2 P^(2 / n).

    That is linear in c, |c|^2 and V^2; |c|^2 is left free.
    """
    sizes = np.exp(2.0 * SLOPE * (data.ln_power - data.ln_power.mean()))
    squares = (data.velocity**2).sum(axis=1)
    rows = np.column_stack([2.0 * data.velocity, -np.ones(len(sizes)), sizes])
    # As weak as the prior on the water: a squared speed is off by 2 V sd.
    weak = np.diag([2.0, 2.0, 0.0, 0.0]) * VELOCITY_SD_MPS * 2.0
    rows = np.concatenate([rows, weak / max(water_sd_mps, 1e-4)])
    right = np.concatenate([squares, np.zeros(4)])
    water: FloatArray = np.linalg.lstsq(rows, right, rcond=1e-9)[0][:2]
    return water * min(1.0, 3.0 * water_sd_mps / max(float(np.hypot(*water)), 1e-9))


def _converge(
    data: _Data, normal: FloatArray, right: FloatArray, start: FloatArray, curve: FloatArray
) -> _Result:
    """Solve by repeated linearisation (Gauss-Newton) from a start, never uphill."""
    count = 2 * data.knots.count
    water = np.repeat(start, data.knots.count)
    off = data.off(water.reshape(2, -1))
    through = np.maximum(np.hypot(off[:, 0], off[:, 1]), 0.1)
    level = float(np.median(np.log(through) - data.of_power @ curve))
    solution = np.concatenate([water, curve + level])

    def looked_at(unknowns: FloatArray) -> tuple[FloatArray, FloatArray]:
        speed, slopes = data.model(unknowns[:count].reshape(2, -1), unknowns[count:])
        return data.speed - speed, slopes

    def prior_cost(unknowns: FloatArray) -> float:
        return float(unknowns @ normal @ unknowns - 2 * right @ unknowns)

    scale, used = VELOCITY_SD_MPS**2, np.ones(len(data.t_s), np.bool_)
    taken_up, freedom = 0.0, SCALE_BLOCKS
    residual, slopes = looked_at(solution)
    for turn in range(ROUNDS):
        by_power = (slopes[:, count:] @ _slope(solution[count:])) ** 2
        known = by_power * data.power_variance + data.knots.between_m2ps2
        if turn >= 2:
            used = inliers_keeping_most(residual / np.sqrt(known + scale))
            freedom = SCALE_BLOCKS + max(float(used.sum()) - taken_up, 0.0)
            scale = _scale((residual**2 - known)[used], freedom)
        share = np.where(used, 1.0 / (known + scale), 0.0)
        weighted = slopes.T * share
        covariance = np.asarray(np.linalg.inv(normal + weighted @ slopes), np.float64)
        taken_up = float(quadratic(slopes, covariance) @ share)
        step = covariance @ (right - normal @ solution + weighted @ residual)
        cost = prior_cost(solution) + float(residual**2 @ share)
        for _ in range(HALVINGS):
            residual, slopes = looked_at(solution + step)
            if prior_cost(solution + step) + float(residual**2 @ share) <= cost:
                break
            step = step / 2.0
        solution = solution + step
        if turn >= 3 and float(np.abs(step[:count]).max()) < SETTLED_MPS:
            break
    # Of two ends, outliers cost the same in both.
    sizes = residual**2 / (known + VELOCITY_SD_MPS**2)
    cost = float(np.minimum(sizes, OUTLIER_SD**2).sum()) + prior_cost(solution)
    widened = np.asarray(covariance * (quantile(round(freedom)) / Z_95) ** 2, np.float64)
    ends = solution[:count].reshape(2, -1), solution[count:]
    return _Result(*ends, widened, scale, used, cost)


def _prior(knots: WaterKnots, water_sd_mps: float) -> tuple[FloatArray, FloatArray]:
    """Return normal matrix and right-hand side of what is taken for granted."""
    count, of_water = len(KNOTS), 2 * knots.count
    normal, right = np.zeros((of_water + count, of_water + count)), np.zeros(of_water + count)
    normal[:of_water, :of_water] = np.kron(np.eye(2), knots.prior(water_sd_mps))
    bend = np.diff(np.eye(count), 2, axis=0)
    rise = np.diff(np.eye(count), axis=0)
    curve = bend.T @ bend / (SLOPE_WALK * SPACING**3)
    # Spread over a unit of ln P, so that the knots' spacing does not matter.
    weight = 1.0 / SLOPE_SD**2 / SPACING
    curve += weight * rise.T @ rise
    middle = knot_weights(np.array([np.log(LEVEL_W)]))[0]
    curve += np.outer(middle, middle) / LEVEL_SD**2
    normal[of_water:, of_water:] = curve
    right[of_water:] = weight * SLOPE * SPACING * rise.sum(axis=0)
    right[of_water:] += middle * LEVEL_LN_MPS / LEVEL_SD**2
    return normal, right


def _add_circles(
    normal: FloatArray, right: FloatArray, circles: list[Circle], knots: WaterKnots
) -> None:
    of_water = 2 * knots.count
    for circle in circles:
        rows = np.kron(np.eye(2), knots.weights(np.array([circle.t_s])))
        known = circle.covariance + np.eye(2) * knots.between_m2ps2
        precision = rows.T @ np.linalg.inv(known)
        normal[:of_water, :of_water] += precision @ rows
        right[:of_water] += precision @ np.array([circle.east_mps, circle.north_mps])


def _add_carried(normal: FloatArray, right: FloatArray, carried: Carried) -> None:
    precision = np.linalg.inv(carried.covariance)
    begin = len(right) - len(KNOTS) + carried.first_knot
    place = slice(begin, begin + len(carried.ln_speed))
    normal[place, place] += precision
    right[place] += precision @ carried.ln_speed


def start_curve(carried: Carried | None) -> FloatArray:
    """Return ln w at all `KNOTS` to start from: as carried, straight on beyond; else the usual."""
    if carried is None:
        plain: FloatArray = LEVEL_LN_MPS + SLOPE * (KNOTS - np.log(LEVEL_W))
        return plain
    known = KNOTS[carried.first_knot :][: len(carried.ln_speed)]
    inside = np.interp(KNOTS, known, carried.ln_speed)
    start: FloatArray = inside + SLOPE * (KNOTS - np.clip(KNOTS, known[0], known[-1]))
    return start


def _slope(curve: FloatArray) -> FloatArray:
    slope: FloatArray = np.gradient(curve, SPACING)
    return slope


def _scale(excess_m2ps2: FloatArray, freedom: float) -> float:
    """Return the variance of a block's speed by the residuals, drawn to what is taken at first."""
    total = SCALE_BLOCKS * VELOCITY_SD_MPS**2 + float(np.maximum(excess_m2ps2, 0.0).sum())
    return total / freedom


def rising(curve: FloatArray) -> FloatArray:
    """Return the nearest of rising curves, in a plain sense: midway of the two that bound it."""
    low = np.minimum.accumulate(curve[::-1])[::-1]
    middle = (np.maximum.accumulate(curve) + low) / 2
    # Strictly, so that it can be read the other way round.
    rising: FloatArray = middle + 1e-9 * np.arange(len(middle))
    return rising


def _seen(through: FloatArray, carried: Carried | None) -> tuple[float, float]:
    low, high = float(through.min()), float(through.max())
    if carried is not None:
        low, high = min(low, carried.seen_mps[0]), max(high, carried.seen_mps[1])
    return low, high
