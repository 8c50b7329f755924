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
from onboard.efficiency.chauvenet import threshold
from onboard.efficiency.steady import SteadyBlock
from onboard.efficiency.turning import Circle

Bools = npt.NDArray[np.bool_]

LEAST_W, MOST_W, SPACING = 2.0, 30_000.0, 0.15
KNOTS = np.arange(np.log(LEAST_W), np.log(MOST_W), SPACING)

SLOPE_WALK = 0.15
"""Variance of the slope's change over a unit of ln P. Residuary resistance of the Delft series
asks for 0.01 (1/5 to 1/8.5 between Froude numbers of 0.30 and 0.38), a hotel load for more."""

SLOPE, SLOPE_SD, SLOPE_LEAST = 0.37, 0.35, 0.1
LEVEL_W, LEVEL_LN_MPS, LEVEL_SD = 200.0, np.log(2.0), 2.0
"""What is taken for granted without any data, loosely."""

RIDDEN_SHARE = 0.1
"""Mean square of the courses' part along a direction, below which nobody rode that way."""

UNKNOWN_SD_MPS, NONE_SD_MPS = 0.1, 1e-3

WATER_SD_MPS = 0.3
"""Each axis: what the water may do before it is known. Common practice, no source."""

VELOCITY_SD_MPS, SCALE_BLOCKS = 0.025, 6.0
"""How far a block's speed is off the curve (noise, waves, gusts) until the residuals tell, and how
many blocks that guess is worth."""

POWER_SD_FRACTION = 0.01
SHARED_SD = 0.005
"""Of ln w: what all blocks of a ride share, so that no number of them takes it away. Common
practice, no source."""

WANDER_M2PS3 = 0.03**2 / 600.0
WANDER_MOST_MPS = 0.08
"""The water current wanders by 0.03 m/s in ten minutes: an old block says less about it now."""

REJECTED_MOST_FRACTION = 0.1
ROUNDS = 12
SETTLED_MPS = 1e-4


@dataclass(frozen=True)
class Posterior:
    """What is known of water and curve.

    Parameters
    ----------
    water_mps
        Set and drift, east and north, shape (2,).
    ln_speed
        The curve: ln w at `KNOTS`, shape (k,), rising.
    covariance
        Of both, in that order, shape (2 + k, 2 + k).
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
        """Give ln P and the slope m there for speeds through water, shape (n,)."""
        ln_power = np.interp(np.log(np.maximum(through_water_mps, 1e-3)), self.ln_speed, KNOTS)
        slope = np.maximum(knot_weights(ln_power) @ _slope(self.ln_speed), SLOPE_LEAST)
        return ln_power, slope

    def curve_variance(self, through_water_mps: FloatArray) -> FloatArray:
        """Give the variance of ln P at speeds through water, shape (n,)."""
        ln_power, slope = self.ln_power_at(through_water_mps)
        rows = knot_weights(ln_power) / slope[:, None]
        form: FloatArray = np.einsum("nk,kl,nl->n", rows, self.covariance[2:, 2:], rows)
        return form + (SHARED_SD / slope) ** 2

    def at_velocity(self, velocity_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give ln P and its variance for velocities over ground (east, north), shape (n, 2)."""
        off = velocity_mps - self.water_mps
        through = np.maximum(np.hypot(off[:, 0], off[:, 1]), 0.05)
        ln_power, slope = self.ln_power_at(through)
        by_water = -off / through[:, None] ** 2
        rows = np.concatenate([by_water, -knot_weights(ln_power)], axis=1) / slope[:, None]
        variance: FloatArray = np.einsum("ni,ij,nj->n", rows, self.covariance, rows)
        return ln_power, variance + (SHARED_SD / slope) ** 2


@dataclass(frozen=True)
class Carried:
    """A curve learned earlier: ln w at some of the `KNOTS`, with its covariance."""

    first_knot: int
    ln_speed: FloatArray
    covariance: FloatArray
    seen_mps: tuple[float, float]


def knot_weights(ln_power: FloatArray) -> FloatArray:
    """Give the weights by which knots interpolate at ln P, shape (n, k); held beyond the ends."""
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
        A fit of nearly the same blocks, to start from; None starts from nothing, twice.
    """
    data = _Data(blocks)
    normal, right = _prior(max(water_sd_mps, 1e-4))
    _add_circles(normal, right, circles, float(data.t_s[-1]))
    if carried is not None:
        _add_carried(normal, right, carried)
    if near is not None:
        starts = [(near.water_mps, near.ln_speed)]
    else:
        waters = (np.zeros(2), _start_water(data, water_sd_mps))
        starts = [(water, _start_curve(carried)) for water in waters]
    results = [_converge(data, normal, right, water, curve) for water, curve in starts]
    best = min(results, key=lambda result: result.cost)
    across = _never_ridden(data.velocity, best.covariance[:2, :2])
    if across is not None:
        # No course tells of this part: it is taken as none, and stays as unknown as it was.
        normal[:2, :2] += np.outer(across, across) / NONE_SD_MPS**2
        water = best.water - across * float(across @ best.water)
        best = _converge(data, normal, right, water, best.curve)
        best.covariance[:2, :2] += np.outer(across, across) * water_sd_mps**2
    off = data.velocity - best.water
    through = np.hypot(off[:, 0], off[:, 1])
    return Posterior(
        best.water, rising(best.curve), best.covariance, _seen(through[best.used], carried),
        len(blocks), float(np.sqrt(best.scale)), _course_variance(data.velocity, best.covariance[:2, :2]),
    )  # fmt: skip


def _never_ridden(velocity: FloatArray, covariance: FloatArray) -> FloatArray | None:
    """Give the direction that no course has a part in, if the water along it is not known."""
    unit = velocity / np.maximum(np.hypot(velocity[:, 0], velocity[:, 1]), 1e-9)[:, None]
    shares, directions = np.linalg.eigh(unit.T @ unit / len(unit))
    across: FloatArray = directions[:, 0]
    if shares[0] > RIDDEN_SHARE or across @ covariance @ across < UNKNOWN_SD_MPS**2:
        return None
    return across


class _Data:
    """The blocks as columns."""

    def __init__(self, blocks: list[SteadyBlock]) -> None:
        rows = np.array([[b.t_s, b.power_w, b.power_sd_w, b.east_mps, b.north_mps] for b in blocks])
        self.t_s, self.velocity, self.ln_power = rows[:, 0], rows[:, 3:], np.log(rows[:, 1])
        self.power_variance = (rows[:, 2] / rows[:, 1]) ** 2 + POWER_SD_FRACTION**2
        age_s = self.t_s[-1] - self.t_s
        self.wander = np.minimum(WANDER_M2PS3 * age_s, WANDER_MOST_MPS**2)


@dataclass(frozen=True)
class _Result:
    water: FloatArray
    curve: FloatArray
    covariance: FloatArray
    scale: float
    used: Bools
    cost: float


def _start_water(data: _Data, water_sd_mps: float) -> FloatArray:
    """Give the water for which all blocks lie on one power law: |g - c|^2 = V^2 P^(2 / n).

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
    data: _Data, normal: FloatArray, right: FloatArray, water: FloatArray, curve: FloatArray
) -> _Result:
    """Solve by repeated linearisation (Gauss-Newton) from a start."""
    scale, used = VELOCITY_SD_MPS**2, np.ones(len(data.t_s), np.bool_)
    covariance, cost = normal, np.inf
    weights = knot_weights(data.ln_power)
    for turn in range(ROUNDS):
        off = data.velocity - water
        through = np.maximum(np.hypot(off[:, 0], off[:, 1]), 0.1)
        slope = np.maximum(weights @ _slope(curve), SLOPE_LEAST)
        known = slope**2 * data.power_variance + data.wander / through**2
        residual = np.log(through) - weights @ curve
        if turn >= 2:
            used = _no_outliers(residual / np.sqrt(known + scale / through**2))
            scale = _scale(residual, known, through, used)
        variance = known + scale / through**2
        rows = np.concatenate([off / through[:, None] ** 2, weights], axis=1)
        # Linearised about the present water: ln |g - c| = curve.
        wanted = np.log(through) + rows[:, :2] @ water
        share = np.where(used, 1.0 / variance, 0.0)
        covariance = np.linalg.inv(normal + rows.T @ (share[:, None] * rows))
        solution = covariance @ (right + rows.T @ (share * wanted))
        moved = float(np.abs(solution[:2] - water).max())
        water, curve = solution[:2], solution[2:]
        fixed = known + VELOCITY_SD_MPS**2 / through**2
        cost = float((residual[used] ** 2 / fixed[used]).sum())
        cost += float(solution @ normal @ solution - 2 * right @ solution)
        if turn >= 3 and moved < SETTLED_MPS:
            break
    return _Result(water, curve, covariance, scale, used, cost)


def _prior(water_sd_mps: float) -> tuple[FloatArray, FloatArray]:
    """Give normal matrix and right-hand side of what is taken for granted."""
    count = len(KNOTS)
    normal, right = np.zeros((2 + count, 2 + count)), np.zeros(2 + count)
    normal[0, 0] = normal[1, 1] = 1.0 / water_sd_mps**2
    bend = np.diff(np.eye(count), 2, axis=0)
    rise = np.diff(np.eye(count), axis=0)
    curve = bend.T @ bend / (SLOPE_WALK * SPACING**3)
    # Spread over a unit of ln P, so that the knots' spacing does not matter.
    weight = 1.0 / SLOPE_SD**2 / SPACING
    curve += weight * rise.T @ rise
    middle = knot_weights(np.array([np.log(LEVEL_W)]))[0]
    curve += np.outer(middle, middle) / LEVEL_SD**2
    normal[2:, 2:] = curve
    right[2:] = weight * SLOPE * SPACING * rise.sum(axis=0) + middle * LEVEL_LN_MPS / LEVEL_SD**2
    return normal, right


def _add_circles(
    normal: FloatArray, right: FloatArray, circles: list[Circle], now_s: float
) -> None:
    for circle in circles:
        wander = min(WANDER_M2PS3 * abs(now_s - circle.t_s), WANDER_MOST_MPS**2)
        precision = np.linalg.inv(circle.covariance + np.eye(2) * wander)
        normal[:2, :2] += precision
        right[:2] += precision @ np.array([circle.east_mps, circle.north_mps])


def _add_carried(normal: FloatArray, right: FloatArray, carried: Carried) -> None:
    precision = np.linalg.inv(carried.covariance)
    begin = 2 + carried.first_knot
    place = slice(begin, begin + len(carried.ln_speed))
    normal[place, place] += precision
    right[place] += precision @ carried.ln_speed


def _start_curve(carried: Carried | None) -> FloatArray:
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


def _no_outliers(residual_sd: FloatArray) -> Bools:
    """Tell which blocks are no outliers by Chauvenet's criterion; never reject many."""
    if len(residual_sd) < 5:
        return np.ones(len(residual_sd), np.bool_)
    size = np.abs(residual_sd)
    limit = max(threshold(len(size)), float(np.quantile(size, 1 - REJECTED_MOST_FRACTION)))
    inside: Bools = size <= limit
    return inside


def _scale(residual: FloatArray, known: FloatArray, through: FloatArray, used: Bools) -> float:
    """Give the variance of a block's speed by the residuals, drawn to what is taken at first."""
    excess = ((residual**2 - known) * through**2)[used]
    total = SCALE_BLOCKS * VELOCITY_SD_MPS**2 + float(np.maximum(excess, 0.0).sum())
    # Water and curve took up a few of the blocks' freedom.
    return total / (SCALE_BLOCKS + max(int(used.sum()) - 3, 0))


def rising(curve: FloatArray) -> FloatArray:
    """Give the nearest of rising curves, in a plain sense: midway of the two that bound it."""
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


def _course_variance(velocity: FloatArray, covariance: FloatArray) -> float:
    unit = velocity / np.maximum(np.hypot(velocity[:, 0], velocity[:, 1]), 1e-9)[:, None]
    return float(np.einsum("ni,ij,nj->n", unit, covariance, unit).mean())
