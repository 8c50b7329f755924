"""A step of what a speed costs: power against speed on one course, the last minutes against before.

Blocks on a like course share water and wind up to how these change within minutes, so an error of
the learned curve, of the water or of the wind is the same in both, and drops out. What is compared
is ln P at the same speed,

    excess = d ln P - k d ln w,

with w the speed through the water. Where the craft got slower, k is the exponent of the learned
curve, 1/m, within what hulls have. Where it got faster at more power, it is the largest that any
has, so that opening the throttle on the steep part of a curve does not look like weed.

The standard deviation comes from the scatter of the blocks themselves, with that of all the ride's
blocks as a prior, and from the water's random walk between the two spans. Gusts and waves scatter
the blocks, so what can be told in a calm takes a larger step in a wind.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.alert_practice import (
    STEP_BEFORE_LEAST,
    STEP_BEFORE_MOST,
    STEP_BLOCKS,
    STEP_COURSE_DEG,
    STEP_EASED_MOST,
    STEP_EXPONENTS,
    STEP_LOOK_BACK_S,
    STEP_OPENED_MOST,
    STEP_SCATTER_LEAST,
    STEP_SCATTER_WORTH,
    STEP_SD,
    STEP_SLOWEST_MPS,
    STEP_WALK_SHARE,
)
from onboard.efficiency.common_practice import FOULED_EXCESS_FRACTION
from onboard.efficiency.curve.speed_power import SLOPE_LEAST, Posterior
from onboard.efficiency.curve.steady import BLOCK_S, SteadyBlock
from onboard.efficiency.curve.water_walk import WANDER_M2PS3

LEAST = float(np.log1p(FOULED_EXCESS_FRACTION))
"""Least step of ln P that counts."""


@dataclass(frozen=True)
class Step:
    """A step of cost: the rise of ln P at a speed, and the blocks before it."""

    excess: float
    before: list[SteadyBlock]


def cost_step(blocks: list[SteadyBlock], known: Posterior) -> Step | None:
    """Return the step of cost that the last blocks show; None if they show none.

    Parameters
    ----------
    blocks
        Steady blocks in order, the last ones of interest.
    known
        The learned curve.
    """
    recent = [block for block in blocks if blocks[-1].t_s - block.t_s <= STEP_LOOK_BACK_S]
    like = _on_course_of(blocks[-3:], recent)
    now, before = like[-STEP_BLOCKS:], like[:-STEP_BLOCKS][-STEP_BEFORE_MOST:]
    # With pauses between them they are not one stretch of the ride.
    if now[-1:] != blocks[-1:] or now[-1].t_s - now[0].t_s > BLOCK_S * (STEP_BLOCKS + 4):
        return None
    power = _mean_ln_power(now)
    before = [
        block
        for block in before
        if -STEP_EASED_MOST < power - np.log(block.power_w) < STEP_OPENED_MOST
    ]
    if len(before) < STEP_BEFORE_LEAST:
        return None
    excess = cost_over(now, before, known)
    if excess is None or excess <= LEAST:
        return None
    return Step(excess, before) if excess > STEP_SD * _sd(now, before, known) else None


def cost_over(now: list[SteadyBlock], before: list[SteadyBlock], known: Posterior) -> float | None:
    """Return how much more ln P a speed takes than before; None on another course, or too slow."""
    if len(_on_course_of(before, now)) < len(now):
        return None
    through = [_ln_through(blocks, known) for blocks in (now, before)]
    if min(float(ln_w.min()) for ln_w in through) < np.log(STEP_SLOWEST_MPS):
        return None
    faster = float(through[0].mean() - through[1].mean())
    exponent = 1.0 / SLOPE_LEAST if faster > 0 else _exponent(now, known)
    return _mean_ln_power(now) - _mean_ln_power(before) - exponent * faster


def _sd(now: list[SteadyBlock], before: list[SteadyBlock], known: Posterior) -> float:
    """Return the standard deviation of `cost_over`."""
    exponent = _exponent(now, known)
    per_mps = exponent / float(np.exp(_ln_through(now, known).mean()))
    prior_sd = max(per_mps * known.velocity_sd_mps, STEP_SCATTER_LEAST)
    square, freedom = STEP_SCATTER_WORTH * prior_sd**2, STEP_SCATTER_WORTH
    for blocks in (now, before):
        cost = np.log([block.power_w for block in blocks]) - exponent * _ln_through(blocks, known)
        square += float(np.sum((cost - cost.mean()) ** 2))
        freedom += len(blocks) - 1
    apart_s = _mean_t_s(now) - _mean_t_s(before)
    walked = STEP_WALK_SHARE * WANDER_M2PS3 * apart_s * per_mps**2
    return float(np.sqrt(square / freedom * (1.0 / len(now) + 1.0 / len(before)) + walked))


def _on_course_of(others: list[SteadyBlock], blocks: list[SteadyBlock]) -> list[SteadyBlock]:
    """Return the blocks that are on the mean course of others."""
    east, north = sum(one.east_mps for one in others), sum(one.north_mps for one in others)
    like = math.cos(math.radians(STEP_COURSE_DEG)) * math.hypot(east, north)
    return [
        block
        for block in blocks
        if block.east_mps * east + block.north_mps * north
        > like * math.hypot(block.east_mps, block.north_mps)
    ]


def _exponent(now: list[SteadyBlock], known: Posterior) -> float:
    """Return the exponent of the learned curve at the present speed, within what hulls have."""
    _, slope = known.ln_power_at(np.exp(_ln_through(now[-1:], known)))
    return float(np.clip(1.0 / slope[0], *STEP_EXPONENTS))


def _ln_through(blocks: list[SteadyBlock], known: Posterior) -> FloatArray:
    """Return ln w of blocks, shape (n,)."""
    velocity = np.array([(block.east_mps, block.north_mps) for block in blocks])
    off = velocity - known.water_mps
    return np.asarray(np.log(np.maximum(np.hypot(off[:, 0], off[:, 1]), 1e-3)), np.float64)


def _mean_ln_power(blocks: list[SteadyBlock]) -> float:
    return float(np.mean(np.log([block.power_w for block in blocks])))


def _mean_t_s(blocks: list[SteadyBlock]) -> float:
    return float(np.mean([block.t_s for block in blocks]))
