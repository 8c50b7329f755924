"""The mean over both directions of a craft that goes to and fro.

Over equal distances the consumption is the arithmetic mean of both directions', and so is the time
per distance; the mean power is the one over the other. What the other direction takes is foretold
from what turning round did before (`to_and_fro`), and measured where it was ridden as now.

Whether the craft turns round again is known as a chance p only. The mean moves by p times what
turning round changes, and its variance has the p (1 - p) of a Bernoulli trial.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.riding.common_practice import COURSES_CHANGE
from onboard.efficiency.riding.scatter import RidingMean, log_mean
from onboard.efficiency.riding.to_and_fro import Turning

BACK_BLOCKS_LEAST = 3
"""Blocks on the way back from which they count as measured."""


def both_ways(
    here: RidingMean, turning: Turning, back_draw: FloatArray, back_cost: FloatArray
) -> RidingMean:
    """Return the mean over both directions, as far as the craft is likely to turn round.

    Parameters
    ----------
    here
        The mean of the present direction.
    turning
        What turning round does.
    back_draw, back_cost
        Logarithms of power and cost of the blocks ridden as now the other way, shape (k,).
    """
    draw, cost, variance = _other_way(here, turning, back_draw, back_cost)
    chance, cost_here, draw_here = turning.chance, here.cost.value, here.draw.value
    both_cost = _ln_mean(cost_here, cost)
    time_per_distance = _ln_mean(cost_here - draw_here, cost - draw)
    by_cost = both_cost - cost_here
    by_draw = both_cost - time_per_distance - draw_here
    # The derivative of `both_cost` with `cost`: the other direction's share of the energy.
    share = math.exp(cost - both_cost) / 2.0
    changing = (COURSES_CHANGE * (cost - cost_here)) ** 2
    other_way = chance * share**2 * (variance + changing)
    doubt = chance * (1.0 - chance)
    return RidingMean(
        here.draw.moved(chance * by_draw, other_way + doubt * by_draw**2),
        here.cost.moved(chance * by_cost, other_way + doubt * by_cost**2),
    )


def _other_way(
    here: RidingMean, turning: Turning, back_draw: FloatArray, back_cost: FloatArray
) -> tuple[float, float, float]:
    """Return the logarithms of power and cost the other way, and their variance."""
    draw = here.draw.value + turning.ln_power
    cost = here.cost.value + turning.ln_cost
    variance = turning.variance
    if len(back_cost) >= BACK_BLOCKS_LEAST:
        seen_draw, seen_cost = log_mean(back_draw), log_mean(back_cost)
        share = variance / (variance + seen_cost.scatter.mean_variance)
        draw += share * (seen_draw.value - draw)
        cost += share * (seen_cost.value - cost)
        variance *= 1.0 - share
    return draw, cost, variance


def _ln_mean(a: float, b: float) -> float:
    """Return the logarithm of the mean of two quantities, given theirs."""
    return float(np.logaddexp(a, b)) - math.log(2.0)
