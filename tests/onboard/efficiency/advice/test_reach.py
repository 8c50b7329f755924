"""Range and time left by hand: energy left over consumption and power, with their errors."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.contract.figure import Figure
from onboard.efficiency.advice.present_riding import Riding
from onboard.efficiency.advice.reach import range_m, time_left_s
from onboard.efficiency.statistics.shared_errors import CAPACITY, COUNT, GAIN, OFFSET, Spread

NONE = np.zeros((COUNT, COUNT))
NOTHING = np.zeros(COUNT)

RIDING = Riding(300.0, 2.0, 50.0, 600.0, 0.0036, 0.5, 0.0049)
"""300 W at 2 m/s, ten minutes of it: 41.67 Wh/km; its blocks scatter by 6 % and by 7 %."""


def test_a_range_is_energy_left_over_consumption() -> None:
    left = Spread(500.0, np.array([1000.0, 800.0, -50.0, -2.0, 100.0]))
    found = range_m(left, replace(RIDING, block_variance=0.0), NONE)
    assert found.value == found.low == found.high == pytest.approx(500.0 / 41.6667 * 1000, rel=1e-6)
    # A capacity off by 3 % is 24 of 500 Wh.
    capacity = NONE.copy()
    capacity[CAPACITY, CAPACITY] = 0.03**2
    found = range_m(left, replace(RIDING, block_variance=0.0), capacity)
    assert found.high - found.value == pytest.approx(1.959964 * 0.048 * found.value)
    # A gain of 2 % costs twice: -1 of 500 Wh was drawn unseen, and each kilometre takes more.
    gain = NONE.copy()
    gain[GAIN, GAIN] = 0.02**2
    found = range_m(left, replace(RIDING, block_variance=0.0), gain)
    assert found.high - found.value == pytest.approx(1.959964 * 0.02 * 1.1 * found.value)


@pytest.mark.parametrize(("left_wh", "ahead_s"), [(500.0, 6000.0), (2.5, 30.0), (50.0, 600.0)])
def test_consumption_ahead_averages_out_the_more_the_longer_it_is(left_wh, ahead_s) -> None:
    # Blocks of half a minute correlated by a half are worth a third of their number: 20 were
    # ridden, as many are to come, and at least one is.
    found = range_m(Spread(left_wh, NOTHING), RIDING, NONE)
    ridden, to_come = 3.0 / 20.0, min(3.0 / (ahead_s / 30.0), 1.0)
    sd = 0.06 * np.sqrt(ridden + to_come)
    assert found.high - found.value == pytest.approx(1.959964 * sd * found.value)


@pytest.mark.parametrize(
    ("power_w", "known"), [(0.0, False), (-20.0, False), (4.9, False), (6.0, True)]
)
def test_a_time_left_at_hardly_any_power_is_unknown(power_w: float, known: bool) -> None:
    found = time_left_s(Spread(100.0, NOTHING), Spread(power_w, NOTHING), NONE)
    assert isinstance(found, Figure) is known
    if known:
        assert found.value == pytest.approx(100.0 / power_w * 3600)


def test_the_time_left_has_the_errors_of_energy_and_power() -> None:
    zero = NONE.copy()
    zero[OFFSET, OFFSET] = 0.1**2
    left = Spread(500.0, np.array([0.0, 0.0, 0.0, -60.0, 0.0]))
    draw = Spread(300.0, np.array([0.0, 0.0, 0.0, 50.0, 0.0]))
    # Ten watts of 300 more, and six watt-hours of 500 less, from the same error of 0.2 A.
    found = time_left_s(left, draw, zero)
    relative = 0.1 * (60.0 / 500.0 + 50.0 / 300.0)
    assert found.value == pytest.approx(6000.0)
    assert found.high - found.value == pytest.approx(1.959964 * relative * 6000.0)


def test_the_power_to_expect_is_that_of_the_riding() -> None:
    spread = RIDING.power(6000.0)
    assert spread.value == 300.0
    assert spread.own_variance == pytest.approx(0.07**2 * (3 / 20 + 3 / 200) * 300.0**2)
    assert spread.gradient[OFFSET] == pytest.approx(50.0)
