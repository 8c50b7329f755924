"""Runs scaled to the same battery power, by the craft's own curve.

Only the curve's slope there is needed, m = d ln speed / d ln power. A cubic would have m = 1/3
throughout; residuary resistance alone implies a fifth at a Froude number of 0.25 and 1/8 near hull
speed, a hotel load more than 1/3.
"""

import math
from collections.abc import Iterable
from functools import lru_cache

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.curve.joint_fit import fit
from onboard.efficiency.curve.speed_power import KNOTS, SPACING, Posterior, knot_weights
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.leg import Leg

SLOPE, SLOPE_SD = 0.28, 0.08
"""Prior of the slope: about a third where friction dominates, a fifth where wave-making sets in
(Delft series, from a Froude number of 0.2 to 0.3). Its spread is common practice, no source."""


@dataclass(frozen=True)
class CurveSlope:
    """The curve's slope d ln speed / d ln power at the power compared at.

    Parameters
    ----------
    value, sd
        The slope and its standard deviation.
    learned
        Whether the craft's own curve outweighs the prior.
    """

    value: float
    sd: float
    learned: bool


def reference_power_w(legs: Iterable[Leg]) -> float:
    """Return the power to compare at [W]: the geometric mean of the set-ups' mean powers."""
    by_setup: dict[str, list[float]] = {}
    for leg in legs:
        by_setup.setdefault(leg.setup, []).append(math.log(leg.power_w))
    means = [sum(logs) / len(logs) for logs in by_setup.values()]
    return math.exp(sum(means) / len(means))


def slope_at(power_w: float, curves: Iterable[Posterior]) -> CurveSlope:
    """Return the slope at a power from the curves of the set-ups and the prior.

    Each set-up has its own curve, since one fitted to several would mistake the difference between
    them for slope; the slope is assumed to be common.

    Parameters
    ----------
    power_w
        Battery power.
    curves
        Fitted to the steady stretches of each set-up.
    """
    weights, values = [SLOPE_SD**-2], [SLOPE]
    gradient = np.gradient(np.eye(len(KNOTS)), SPACING, axis=0)
    row = knot_weights(np.array([math.log(power_w)]))[0] @ gradient
    for curve in curves:
        variance = float(row @ curve.covariance[2:, 2:] @ row)
        values.append(float(row @ curve.ln_speed))
        weights.append(1.0 / max(variance, 1e-6))
    total = sum(weights)
    value = sum(w * v for w, v in zip(weights, values, strict=True)) / total
    return CurveSlope(value, total**-0.5, sum(weights[1:]) > weights[0])


def curves_of(blocks: dict[str, list[SteadyBlock]]) -> dict[str, Posterior]:
    """Return the curve of each set-up that has steady stretches."""
    return {name: _curve(tuple(some)) for name, some in blocks.items() if some}


@lru_cache(maxsize=16)
def _curve(blocks: tuple[SteadyBlock, ...]) -> Posterior:
    """Return the curve of some steady stretches; a coach asks for most of them again and again."""
    return fit(list(blocks), [])


def at_power(
    legs: list[Leg], through_water_mps: FloatArray, power_w: float, slope: float
) -> FloatArray:
    """Return each leg's speed as it would be at a power, shape (legs,).

    Only the speed through water changes with power, not the water's contribution.

    Parameters
    ----------
    legs
        The legs.
    through_water_mps
        Speed through water of each, at its own power.
    power_w
        The power to scale them to.
    slope
        See `CurveSlope`.

    Examples
    --------
    One per cent of power is a third of a per cent of speed where power is the cube of speed.

    >>> one = Leg("a", 0, 0.0, 60.0, 400.0, 0.0, 2.0, 0.0, 0.0, 2.0, 0.0, 0.0, 16.0, 25.0)
    >>> (at_power([one], np.array([2.0]), 404.0, 1 / 3) / 2.0 - 1.0).round(5).tolist()
    [0.00332]
    """
    factor = np.array([(power_w / leg.power_w) ** slope - 1.0 for leg in legs])
    return np.asarray(
        np.array([leg.speed_mps for leg in legs]) + through_water_mps * factor, np.float64
    )
