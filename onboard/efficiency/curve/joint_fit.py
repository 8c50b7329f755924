"""The joint least-squares fit of speed-power curve and water; `speed_power` has the theory."""

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import (
    BLOCK_OUTLIER_SD,
    BLOCK_POWER_SD_FRACTION,
    BLOCK_SPEED_SD_MPS,
    BLOCK_SPEED_SD_WORTH,
    CRAB_SPEED_LEAST_FRACTION,
    WATER_PRIOR_SD_MPS,
    WATER_USUAL_MPS,
)
from onboard.efficiency.curve.courses import line_directions
from onboard.efficiency.curve.priors import Equations, curve_known, water_known
from onboard.efficiency.curve.speed_power import (
    ANY_SHAPE,
    KNOTS,
    SHAPE,
    SLOPE,
    Carried,
    Posterior,
    knot_weights,
    quadratic,
    rising,
    slopes,
    start_curve,
)
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.curve.turning import Circle
from onboard.efficiency.curve.water_walk import WaterKnots
from onboard.efficiency.statistics.chauvenet import inliers_keeping_most
from onboard.efficiency.statistics.middle import median
from onboard.efficiency.statistics.shared_errors import Z_95
from onboard.efficiency.statistics.students_t import quantile

ITERATIONS, HALVINGS = 12, 5
CONVERGED_MPS = 1e-4
"""Change of the water below which the iteration stops."""


def fit(
    blocks: list[SteadyBlock],
    circles: list[Circle],
    carried: Carried | None = None,
    water_sd_mps: float = WATER_PRIOR_SD_MPS,
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
        A curve of earlier rides, as a prior.
    water_sd_mps
        Prior standard deviation of the water; 0 fixes it at rest, and the curve is then in terms of
        speed over ground.
    near
        A fit of nearly the same blocks to start from; None: two starts from the priors.
    """
    data = _Blocks(blocks, fixed=water_sd_mps == 0)
    of_water = water_known(data.knots, max(water_sd_mps, 1e-4), circles)
    of_curve = curve_known(SHAPE, carried, data.touched)
    known = _side_by_side(of_water, (of_curve.normal, of_curve.right))
    if near is not None:
        starts = [(near.water_mps, near.ln_speed)]
    else:
        waters = (np.zeros(2), _start_water(data, water_sd_mps))
        starts = [(water, start_curve(carried)) for water in waters]
    solutions = [_converge(data, *known, water, curve[data.touched]) for water, curve in starts]
    best = min(solutions, key=lambda solution: solution.cost)
    off = data.through_water(best.water)
    through = np.hypot(off[:, 0], off[:, 1])
    any_curve = curve_known(ANY_SHAPE, carried, data.touched)
    shapeless, _ = _side_by_side(of_water, (any_curve.normal, any_curve.right))
    water, mixed, curve = _covariance(data, best, known[0], shapeless)
    now = [0, data.knots.count]
    mixed, curve = of_curve.spread @ mixed[:, now], of_curve.covariance(curve)
    covariance = np.block([[water[np.ix_(now, now)], mixed.T], [mixed, curve]])
    along = quadratic(data.by_water_knots(data.course), best.widening * water)
    return Posterior(
        best.water[:, 0],
        rising(of_curve.curve(best.curve)),
        best.widening * covariance,
        _seen(through[best.used], carried),
        len(blocks),
        float(np.sqrt(best.scale)),
        float(along.mean()),
        np.asarray(of_curve.spread @ _hidden(data, best, best.widening * water), np.float64),
    )


class _Blocks:
    """The blocks as columns, and the knots of the water over their time.

    The unknowns are, in this order: water east at its knots, north at its knots, the curve at the
    touched knots.
    """

    def __init__(self, blocks: list[SteadyBlock], *, fixed: bool) -> None:
        rows = np.array([[b.t_s, b.power_w, b.power_sd_w, b.east_mps, b.north_mps] for b in blocks])
        self.t_s, self.velocity, self.ln_power = rows[:, 0], rows[:, 3:], np.log(rows[:, 1])
        self.power_variance = (rows[:, 2] / rows[:, 1]) ** 2 + BLOCK_POWER_SD_FRACTION**2
        self.knots = WaterKnots(self.t_s, fixed=fixed)
        self.time_weights = self.knots.weights(self.t_s)
        weights = knot_weights(self.ln_power)
        places = np.flatnonzero(weights.any(axis=0))
        # One more on each side, for the slopes.
        self.touched = slice(max(int(places[0]) - 1, 0), min(int(places[-1]) + 2, len(KNOTS)))
        self.power_weights = np.ascontiguousarray(weights[:, self.touched])
        self.speed = np.maximum(np.hypot(self.velocity[:, 0], self.velocity[:, 1]), 1e-3)
        self.course = line_directions(self.velocity)
        self.side = self.course[:, ::-1] * np.array([1.0, -1.0])

    def through_water(self, water: FloatArray) -> FloatArray:
        """Return the velocities through water (n, 2), given the water at its knots (2, knots)."""
        return np.asarray(self.velocity - self.time_weights @ water.T, np.float64)

    def model(self, water: FloatArray, curve: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the speeds over ground along the courses made good, and their Jacobian."""
        moves = self.time_weights @ water.T
        along = (moves * self.course).sum(axis=1)
        across = (moves * self.side).sum(axis=1)
        through = np.exp(self.power_weights @ curve)
        least = CRAB_SPEED_LEAST_FRACTION * through
        left = np.sqrt(np.maximum(through**2 - across**2, least**2))
        by_water = self.course - (across / left)[:, None] * self.side
        by_curve = (through**2 / left)[:, None] * self.power_weights
        return along + left, np.concatenate([self.by_water_knots(by_water), by_curve], axis=1)

    def by_water_knots(self, by_velocity: FloatArray) -> FloatArray:
        """Convert derivatives by the water at each block (n, 2) to derivatives by its knots."""
        east, north = by_velocity[:, :1], by_velocity[:, 1:]
        return np.concatenate([self.time_weights * east, self.time_weights * north], axis=1)


@dataclass(frozen=True)
class _Solution:
    water: FloatArray
    curve: FloatArray
    covariance: FloatArray
    widening: float
    scale: float
    used: npt.NDArray[np.bool_]
    weight: FloatArray
    cost: float


def _start_water(data: _Blocks, water_sd_mps: float) -> FloatArray:
    """Return the water for which all blocks lie on one power law: |g - c|^2 = V^2 P^(2 / n).

    The equation is linear in c, |c|^2 and V^2; |c|^2 is left free.
    """
    sizes = np.exp(2.0 * SLOPE * (data.ln_power - data.ln_power.mean()))
    squares = (data.velocity**2).sum(axis=1)
    rows = np.column_stack([2.0 * data.velocity, -np.ones(len(sizes)), sizes])
    # As weak as the prior of the water: the error of a squared speed is 2 V sd.
    weak = np.diag([2.0, 2.0, 0.0, 0.0]) * BLOCK_SPEED_SD_MPS * 2.0
    rows = np.concatenate([rows, weak / max(water_sd_mps, 1e-4)])
    right = np.concatenate([squares, np.zeros(4)])
    water: FloatArray = np.linalg.lstsq(rows, right, rcond=1e-9)[0][:2]
    return water * min(1.0, 3.0 * water_sd_mps / max(float(np.hypot(*water)), 1e-9))


def _converge(
    data: _Blocks, normal: FloatArray, right: FloatArray, start: FloatArray, curve: FloatArray
) -> _Solution:
    """Iterate Gauss-Newton from a start, halving steps so that the cost never rises."""
    count = 2 * data.knots.count
    water = np.repeat(start, data.knots.count)
    off = data.through_water(water.reshape(2, -1))
    through = np.maximum(np.hypot(off[:, 0], off[:, 1]), 0.1)
    level = median(np.log(through) - data.power_weights @ curve)
    unknowns = np.concatenate([water, curve + level])

    def linearised(at: FloatArray) -> tuple[FloatArray, FloatArray]:
        speed, jacobian = data.model(at[:count].reshape(2, -1), at[count:])
        return data.speed - speed, jacobian

    def prior_cost(at: FloatArray) -> float:
        return float(at @ normal @ at - 2 * right @ at)

    scale, used = BLOCK_SPEED_SD_MPS**2, np.ones(len(data.t_s), np.bool_)
    parameters, freedom = 0.0, BLOCK_SPEED_SD_WORTH
    residual, jacobian = linearised(unknowns)
    for iteration in range(ITERATIONS):
        by_power = (jacobian[:, count:] @ slopes(unknowns[count:])) ** 2
        known = by_power * data.power_variance + data.knots.between_m2ps2
        if iteration >= 2:
            used = inliers_keeping_most(residual / np.sqrt(known + scale))
            freedom = BLOCK_SPEED_SD_WORTH + max(float(used.sum()) - parameters, 0.0)
            scale = _scale((residual**2 - known)[used], freedom)
        weight = np.where(used, 1.0 / (known + scale), 0.0)
        weighted = jacobian.T * weight
        by_blocks = weighted @ jacobian
        covariance = np.asarray(np.linalg.inv(normal + by_blocks), np.float64)
        parameters = float(np.vdot(covariance, by_blocks))
        step = covariance @ (right - normal @ unknowns + weighted @ residual)
        cost = prior_cost(unknowns) + float(residual**2 @ weight)
        for _ in range(HALVINGS):
            residual, jacobian = linearised(unknowns + step)
            if prior_cost(unknowns + step) + float(residual**2 @ weight) <= cost:
                break
            step = step / 2.0
        unknowns = unknowns + step
        if iteration >= 3 and float(np.abs(step[:count]).max()) < CONVERGED_MPS:
            break
    # Outliers must cost the same in all solutions compared.
    sizes = residual**2 / (known + BLOCK_SPEED_SD_MPS**2)
    cost = float(np.minimum(sizes, BLOCK_OUTLIER_SD**2).sum()) + prior_cost(unknowns)
    widening = (quantile(round(freedom)) / Z_95) ** 2
    ends = unknowns[:count].reshape(2, -1), unknowns[count:]
    return _Solution(*ends, covariance, widening, scale, used, weight, cost)


def _scale(excess_m2ps2: FloatArray, freedom: float) -> float:
    """Return the variance of a block's speed from the residuals and its prior."""
    total = BLOCK_SPEED_SD_WORTH * BLOCK_SPEED_SD_MPS**2
    total += float(np.maximum(excess_m2ps2, 0.0).sum())
    return total / freedom


def _covariance(
    data: _Blocks, best: _Solution, normal: FloatArray, shapeless: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the covariance of a solution, with the curve's shape as no evidence of the water.

    That of the water is as if the curve had any shape (`shapeless` is the normal matrix of what is
    known besides the blocks then), that of the curve given the water as of its usual shape.

    Returns
    -------
    tuple
        That of the water (w, w), of curve and water (k, w), and of the curve (k, k), not widened.
    """
    count = 2 * data.knots.count
    _, jacobian = data.model(best.water, best.curve)
    by_blocks = (jacobian.T * best.weight) @ jacobian
    water = np.asarray(np.linalg.inv(shapeless + by_blocks)[:count, :count], np.float64)
    given = np.asarray(np.linalg.inv((normal + by_blocks)[count:, count:]), np.float64)
    by_water = -given @ by_blocks[count:, :count]
    mixed = by_water @ water
    return water, mixed, given + mixed @ by_water.T


def _hidden(data: _Blocks, best: _Solution, of_water: FloatArray) -> FloatArray:
    """Return the rise of ln w at the touched knots by the expected square of the water across.

    Against water a across, the speed made along a course falls by a^2 / 2 w; the curve follows as
    it would any change of the observed speeds. `of_water` is the covariance of the water's knots.
    """
    count = 2 * data.knots.count
    unknown = quadratic(data.by_water_knots(data.side), of_water)
    across = np.minimum(unknown, WATER_USUAL_MPS**2)
    through = np.exp(data.power_weights @ best.curve)
    lost = across / (2.0 * np.maximum(through, across**0.5))
    _, jacobian = data.model(best.water, best.curve)
    return np.asarray(best.covariance[count:] @ (jacobian.T @ (best.weight * lost)), np.float64)


def _seen(through: FloatArray, carried: Carried | None) -> tuple[float, float]:
    low, high = float(through.min()), float(through.max())
    if carried is not None:
        low, high = min(low, carried.seen_mps[0]), max(high, carried.seen_mps[1])
    return low, high


def _side_by_side(water: Equations, curve: Equations) -> Equations:
    """Return the equations of water and curve as those of all unknowns."""
    count, both = len(water[1]), len(water[1]) + len(curve[1])
    normal = np.zeros((both, both))
    normal[:count, :count], normal[count:, count:] = water[0], curve[0]
    return normal, np.concatenate([water[1], curve[1]])
