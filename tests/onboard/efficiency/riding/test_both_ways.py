"""Both directions of going to and fro: equal distances, as far as turning round is likely."""

import math

import numpy as np
import pytest

from onboard.efficiency.riding.both_ways import both_ways
from onboard.efficiency.riding.common_practice import COURSES_CHANGE
from onboard.efficiency.riding.scatter import LogMean, RidingMean, Scatter
from onboard.efficiency.riding.to_and_fro import Turning

EXACT = Scatter(0.0, 0.0, 0.0)
NOT_SEEN = np.zeros(0)


def mean(power_w: float, speed_mps: float) -> RidingMean:
    ln_power, ln_cost = math.log(power_w), math.log(power_w / speed_mps)
    return RidingMean(LogMean(ln_power, EXACT), LogMean(ln_cost, EXACT))


def to(power: float, speed: float, chance: float = 1.0, variance: float = 0.0) -> Turning:
    """Return the turning from 400 W at 1.6 m/s to these."""
    return Turning(chance, math.log(power / 400), math.log(power / speed / 250), variance)


def test_a_kilometre_each_way_takes_the_energy_and_the_time_of_both() -> None:
    found = both_ways(mean(400.0, 1.6), to(150.0, 2.4), NOT_SEEN, NOT_SEEN)
    energy_j, time_s = 400 / 1.6 + 150 / 2.4, 1 / 1.6 + 1 / 2.4
    assert math.exp(found.cost.value) == pytest.approx(energy_j / 2)
    assert math.exp(found.draw.value) == pytest.approx(energy_j / time_s)


def test_a_doubtful_turn_moves_the_mean_in_part_and_widens_it() -> None:
    here = mean(400.0, 1.6)
    sure = both_ways(here, to(150.0, 2.4), NOT_SEEN, NOT_SEEN).cost.value - here.cost.value
    found = both_ways(here, to(150.0, 2.4, 0.5), NOT_SEEN, NOT_SEEN).cost
    assert found.value - here.cost.value == pytest.approx(0.5 * sure)
    # That of a Bernoulli trial, and of what the water will do: the way back takes a fifth of the
    # energy.
    water = 0.5 * 0.2**2 * (COURSES_CHANGE * math.log(62.5 / 250)) ** 2
    assert found.scatter.mean_variance == pytest.approx(0.25 * sure**2 + water)


def test_what_was_ridden_the_other_way_counts_more_than_what_turning_did() -> None:
    # Foretold 62.5 J/m, known to a factor of e; measured 100 J/m, in thirty blocks.
    draw, cost = np.full(30, math.log(200.0)), np.full(30, math.log(100.0))
    found = both_ways(mean(400.0, 1.6), to(150.0, 2.4, variance=1.0), draw, cost)
    assert math.exp(found.cost.value) == pytest.approx((250 + 100) / 2, rel=2e-3)
    few = both_ways(mean(400.0, 1.6), to(150.0, 2.4, variance=1.0), draw[:2], cost[:2])
    assert math.exp(few.cost.value) == pytest.approx((250 + 62.5) / 2)
