"""Consumption over a window by hand."""

import numpy as np
import pytest

from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.steadiness import MOVING_MPS
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.statistics.shared_errors import COUNT
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
