"""Consumption over a window, the cue by consumption, range and time left, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from groundside.studies.consumption_cue import distance_target
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.present_riding import Riding
from onboard.efficiency.advice.reach import range_m, time_left_s
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.steadiness import MOVING_MPS
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.statistics.shared_errors import CAPACITY, COUNT, GAIN, OFFSET, Spread
from onboard.efficiency.trip.consumption import wh_per_km, window
from tests.onboard.efficiency.meters.test_distance import noisy, odometer
from tests.onboard.efficiency.meters.test_energy import meter

NONE = np.zeros((COUNT, COUNT))
NOTHING = np.zeros(COUNT)


def power(begin_s: float, end_s: float, power_w=lambda t_s: 300.0 + 0.0 * t_s) -> BatterySide:
    t_s = np.arange(begin_s, end_s + 0.5)
    return BatterySide((meter(t_s, np.full(len(t_s), 50.0), power_w(t_s) / 50.0),), ("one",))


def speed(begin_s: float, end_s: float, speed_mps: float = 2.0) -> DistanceMeter:
    t_s = np.arange(begin_s, end_s + 0.1, 0.5)
    return odometer(t_s, np.full(len(t_s), speed_mps), course=90.0)


@pytest.mark.parametrize(
    ("of_power", "of_speed", "window_s", "seconds_s"),
    [
        ((0.0, 600.0), (0.0, 600.0), 60.0, 60.0),
        # It ends where both end, and begins where both do.
        ((0.0, 600.0), (0.0, 550.0), 60.0, 60.0),
        ((0.0, 550.0), (0.0, 600.0), 60.0, 60.0),
        ((0.0, 600.0), (570.0, 600.0), 60.0, 30.0),
        ((560.0, 600.0), (0.0, 600.0), 60.0, 40.0),
        ((0.0, 600.0), (0.0, 600.0), 3600.0, 600.0),
    ],
)
def test_a_window_covers_what_both_counted(of_power, of_speed, window_s, seconds_s) -> None:
    # The power rises by a watt a second, so that another time would be another energy.
    found = window(window_s, power(*of_power, lambda t_s: 100.0 + t_s), speed(*of_speed))
    end_s = min(of_power[1], of_speed[1])
    assert found.seconds_s == pytest.approx(seconds_s)
    middle_w = 100.0 + end_s - seconds_s / 2
    assert found.energy_wh.value == pytest.approx(middle_w * seconds_s / 3600)
    assert found.distance_m.value == pytest.approx(2.0 * seconds_s, rel=5e-4)


def test_too_short_a_window_is_unknown() -> None:
    assert isinstance(window(60.0, power(0.0, 100.0), speed(97.0, 100.0)), Unknown)
    no_power = Unknown(Reason.NOT_HEARD)
    assert window(60.0, no_power, speed(0.0, 100.0)) is no_power
    assert window(60.0, power(0.0, 100.0), no_power) is no_power


@pytest.mark.slow
def test_the_noise_of_the_velocity_is_in_a_windows_consumption() -> None:
    # The last minute of each of 25 quarters of an hour, by a receiver whose errors have a memory:
    # the errors of the consumption are as large as stated (chi-squared with
    # 25 degrees of freedom: 99 % lie between 0.65 and 1.37 of the deviation).
    truth, off, stated = 300.0 / 2.0 / 3.6, [], []
    one = power(0.0, 900.0)
    for seed in range(25):
        found = wh_per_km(window(60.0, one, noisy(2.0, 900, 0.05, 2.0, seed)), NONE)
        off.append((found.value - truth) / truth)
        stated.append((found.high - found.low) / 2 / 1.959964 / truth)
    assert 0.65 < np.sqrt(np.mean(np.square(off)) / np.mean(np.square(stated))) < 1.37


@pytest.mark.parametrize(("speed_mps", "known"), [(0.25, False), (0.35, True)])
def test_a_craft_that_hardly_moves_has_no_consumption(speed_mps: float, known: bool) -> None:
    assert 0.25 < MOVING_MPS < 0.35
    found = wh_per_km(window(60.0, power(0.0, 600.0), speed(0.0, 600.0, speed_mps)), NONE)
    assert isinstance(found, Figure) is known
    if known:
        assert found.value == pytest.approx(300.0 / 0.35 / 3.6, rel=1e-3)


@pytest.mark.parametrize(
    ("recent", "cue", "difference"),
    [
        # 600 Wh over 20 km: 30 Wh/km make it.
        (30.0, "hold", 0.0),
        (30.4, "ease", 0.01333),
        (36.0, "ease", 0.2),
        (28.0, "hold", -0.06667),
        (26.9, "push", -0.10333),
    ],
)
def test_the_cue_by_consumption(recent: float, cue: str, difference: float) -> None:
    found = distance_target(20_000.0, Figure(600.0), Figure(recent))
    assert (found.cue, found.wh_per_km) == (cue, pytest.approx(30.0))
    assert found.difference_fraction == pytest.approx(difference, abs=1e-4)


def test_no_energy_left_cues_ease_and_no_distance_left_cues_nothing() -> None:
    assert distance_target(2000.0, Figure(0.0), Figure(30.0)).cue == "ease"
    assert isinstance(distance_target(0.0, Figure(600.0), Figure(30.0)).cue, Unknown)
    assert isinstance(distance_target(9.0, Unknown(Reason.NOT_HEARD), Figure(30.0)).cue, Unknown)
    assert isinstance(distance_target(9.0, Figure(600.0), Unknown(Reason.NOT_HEARD)).cue, Unknown)


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
