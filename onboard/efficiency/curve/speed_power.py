"""The speed-power curve and the set and drift: the estimated quantities and the method.

Observation. In a steady block the craft made velocity g over ground at battery power P. If the
water moves with velocity c, its speed through the water was w = |g - c|, and the point (P, w) lies
on the curve. The unknowns are c and the curve. Blocks at similar power on several courses lie on a
circle about c, which determines it without a compass; a turn at steady power is such a circle by
itself. Whatever acts like moving water counts as water: c includes the leeway due to wind.

Curve. It is ln w, linear between `KNOTS` of ln P: power is measured well and speed is not, so a
regression of power on speed would be too flat. The only assumption about its shape is that
the slope m = d ln w / d ln P changes gradually, as a random walk (`SHAPE`): from over 1 just above
a hotel load to 1/8 at hull speed if need be. A cubic (m = 1/3 throughout) is not assumed.

Water. Each axis is a random walk in time (`water_walk`), with its own knots. Blocks close in time
share their water, so averaging many of them does not remove its wandering.

Residual. The rider holds a course over ground, so the residual is that of the speed along it: the
water's component along the course, plus the part of the speed through water that crabbing against
the component across it leaves. The distance from the circle about c would miss errors across the
heading, and would be least where the water sets strongly across all courses.

What one line hides. Of a single line, ridden one way, only speed over ground is known: water along
it and the level of the curve can be exchanged. Opposite courses determine the water as far as they
are ridden at like powers; between unlike powers the curve's shape would decide. So whether the
courses determine the water is judged as if the curve had `ANY_SHAPE`. If they do, the water across,
a, is still unknown, and its effect is of second order, w = sqrt(g^2 + a^2): no derivative at a = 0
shows it. `Posterior.hidden` is the curve's response to its expectation; `through_any_water` allows
for it where the water will be another.

Fit. `joint_fit.fit` minimises all residuals and priors together by Gauss-Newton. The variance of a
block's speed is estimated from the residuals, with a prior worth a few blocks; outliers are
rejected by Chauvenet's criterion. Because that variance is an estimate, the covariance is widened
by the ratio of Student's t to the normal quantile. A systematic error of ln w,
`CURVE_SYSTEMATIC_SD`, is added to every variance read off the curve.

Carry-over. The posterior of a ride, widened for the next day's load and weather, is a prior of the
next one (`learner`).
"""

from dataclasses import field, replace
from typing import Self

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import CURVE_SYSTEMATIC_SD, THROUGH_WATER_SD_MPS

LEAST_W, MOST_W, SPACING = 2.0, 30_000.0, 0.15
KNOTS = np.arange(np.log(LEAST_W), np.log(MOST_W), SPACING)
"""ln P at the knots of the curve."""

SLOPE, SLOPE_SD, SLOPE_LEAST = 0.37, 0.35, 0.1
"""Prior of the slope m, and its lower bound as a divisor."""


@dataclass(frozen=True)
class Shape:
    """What is assumed about the shape of a curve.

    Parameters
    ----------
    slope_sd
        Standard deviation of the slope about its usual value, `SLOPE`.
    slope_walk
        Variance of the slope's change over a unit of ln P.
    """

    slope_sd: float
    slope_walk: float


SHAPE = Shape(SLOPE_SD, 0.15)
"""Of the curve that is learned. Residuary resistance of the Delft series requires a walk of 0.01
(1/5 to 1/8.5 between Froude numbers of 0.30 and 0.38), a hotel load H more: of P = H + k w^3 the
slope P / 3 (P - H) falls from 0.83 at 1.67 H to 0.44 at 4 H, by 0.39 over a change of ln P of 0.87:
0.39^2 / 0.87 = 0.17."""

ANY_SHAPE = Shape(1.0, 10.0)
"""Of a curve whose shape is no evidence of moving water: a slope from 0 to 2 at each power, as just
above a hotel load."""

LEVEL_W, LEVEL_LN_MPS, LEVEL_SD = 200.0, np.log(2.0), 2.0
"""Prior of the level, weak: ln w at a power."""

HIDDEN_MEDIAN, HIDDEN_SQUARE = 0.455, 2.30
"""Median of a squared standard normal variable (tables of chi-square, one degree of freedom), and
its mean squared distance from that median: 2 + (1 - 0.455)^2."""


@dataclass(frozen=True)
class Posterior:
    """The estimate of water and curve.

    Parameters
    ----------
    water_mps
        Set and drift at the last block, east and north, shape (2,).
    ln_speed
        The curve: ln w at `KNOTS`, shape (k,), rising.
    covariance
        Of both, in that order, shape (2 + k, 2 + k). It is widened so that intervals of the normal
        distribution have the width of Student's t.
    seen_mps
        Lowest and highest speed through water that it is based on.
    blocks
        Number of steady blocks that it is based on, carried ones not counted.
    velocity_sd_mps
        Standard deviation of a block's speed about the curve.
    course_variance
        Mean variance of the water's component along the courses ridden, were the curve of any
        shape [m^2/s^2].
    hidden
        Rise of `ln_speed` by the expected square of the water across the courses, shape (k,).
    """

    water_mps: FloatArray
    ln_speed: FloatArray
    covariance: FloatArray
    seen_mps: tuple[float, float]
    blocks: int
    velocity_sd_mps: float
    course_variance: float
    hidden: FloatArray = field(default_factory=lambda: np.zeros(len(KNOTS)))

    @property
    def determines_water(self) -> bool:
        """Whether the courses ridden tell the water along them from the curve.

        Otherwise the curve is known against speed over ground only, on those courses.
        """
        return self.course_variance <= THROUGH_WATER_SD_MPS**2

    def through_any_water(self) -> Self:
        """Return the curve for other courses or another day: with what water across may hide.

        On the courses ridden, in the same water, the posterior itself predicts better.
        """
        covariance = self.covariance.copy()
        covariance[2:, 2:] += HIDDEN_SQUARE * np.outer(self.hidden, self.hidden)
        curve = rising(self.ln_speed + HIDDEN_MEDIAN * self.hidden)
        none = np.zeros(len(KNOTS))
        return replace(self, ln_speed=curve, covariance=covariance, hidden=none)

    def ln_power_at(self, through_water_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ln P and the slope m there for speeds through water, shape (n,)."""
        ln_power = np.interp(np.log(np.maximum(through_water_mps, 1e-3)), self.ln_speed, KNOTS)
        slope = np.maximum(knot_weights(ln_power) @ slopes(self.ln_speed), SLOPE_LEAST)
        return ln_power, slope

    def curve_variance(self, through_water_mps: FloatArray) -> FloatArray:
        """Return the variance of ln P at speeds through water, shape (n,)."""
        ln_power, slope = self.ln_power_at(through_water_mps)
        rows = knot_weights(ln_power) / slope[:, None]
        return quadratic(rows, self.covariance[2:, 2:]) + (CURVE_SYSTEMATIC_SD / slope) ** 2

    def mean_variance(self) -> float:
        """Return the mean variance of ln P over the speeds that it is based on."""
        return float(self.curve_variance(np.linspace(*self.seen_mps, 9)).mean())

    def at_velocity(self, velocity_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ln P and its variance for velocities over ground (east, north), shape (n, 2)."""
        ln_power, rows, slope = self.gradient_at(velocity_mps)
        return ln_power, quadratic(rows, self.covariance) + (CURVE_SYSTEMATIC_SD / slope) ** 2

    def gradient_at(self, velocity_mps: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return ln P (n,), its gradient (n, 2 + k) and the slope m (n,) for velocities (n, 2)."""
        off = velocity_mps - self.water_mps
        through = np.maximum(np.hypot(off[:, 0], off[:, 1]), 0.05)
        ln_power, slope = self.ln_power_at(through)
        by_water = -off / through[:, None] ** 2
        rows = np.concatenate([by_water, -knot_weights(ln_power)], axis=1) / slope[:, None]
        return ln_power, rows, slope


@dataclass(frozen=True)
class Carried:
    """A curve of earlier rides: ln w at some of the `KNOTS`, with its covariance."""

    first_knot: int
    ln_speed: FloatArray
    covariance: FloatArray
    seen_mps: tuple[float, float]


def quadratic(rows: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return r' M r for each row r; shapes (n, k) and (k, k)."""
    forms = rows @ matrix
    forms *= rows
    return np.asarray(forms.sum(axis=1), np.float64)


def knot_weights(ln_power: FloatArray) -> FloatArray:
    """Return the weights of `KNOTS` that interpolate at ln P, (n, k); flat beyond the ends."""
    place = np.clip((ln_power - KNOTS[0]) / SPACING, 0.0, len(KNOTS) - 1.0)
    low = np.minimum(place.astype(np.int64), len(KNOTS) - 2)
    weights = np.zeros((len(ln_power), len(KNOTS)))
    rows = np.arange(len(ln_power))
    weights[rows, low] = 1.0 - (place - low)
    weights[rows, low + 1] = place - low
    return weights


def slopes(ln_speed: FloatArray) -> FloatArray:
    """Return the slope m of a curve at `KNOTS`."""
    steps = ln_speed[1:] - ln_speed[:-1]
    found = np.empty(len(ln_speed))
    found[0], found[-1], found[1:-1] = steps[0], steps[-1], (steps[1:] + steps[:-1]) / 2.0
    return found / SPACING


def rising(ln_speed: FloatArray) -> FloatArray:
    """Return a monotone version of a curve: midway between its two rising envelopes."""
    low = np.minimum.accumulate(ln_speed[::-1])[::-1]
    middle = (np.maximum.accumulate(ln_speed) + low) / 2
    # Strictly, so that it can be inverted.
    return np.asarray(middle + 1e-9 * np.arange(len(middle)), np.float64)


def start_curve(carried: Carried | None) -> FloatArray:
    """Return ln w at `KNOTS` to start from: carried, extended at the usual slope; or the prior."""
    if carried is None:
        return np.asarray(LEVEL_LN_MPS + SLOPE * (KNOTS - np.log(LEVEL_W)), np.float64)
    known = KNOTS[carried.first_knot :][: len(carried.ln_speed)]
    inside = np.interp(KNOTS, known, carried.ln_speed)
    return np.asarray(inside + SLOPE * (KNOTS - np.clip(KNOTS, known[0], known[-1])), np.float64)
