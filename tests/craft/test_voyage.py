"""A ride steered while under way."""

from dataclasses import replace

import numpy as np
import pytest

from tests.craft.craft import Ride
from tests.craft.crafts import SKIFF
from tests.craft.ride import simulate
from tests.craft.rider import Leg, Rider, Steer
from tests.craft.truth import totals
from tests.craft.voyage import Voyage
from tests.craft.water import Water, surroundings

PLAN = (Leg("out", 120.0, 40.0, power_w=400.0), Leg("back", 120.0, 220.0, speed_mps=2.0))
CHOPPY = Water(set_deg=70.0, drift_mps=0.2, drift_sd_mps=0.03, wind_mps=4.0, wave_speed_mps=0.05)


def ride(water: Water = CHOPPY) -> Ride:
    return Ride(SKIFF, water, Rider(max_power_w=1000.0), PLAN, 45.0, -30.0)


def test_the_same_legs_give_the_same_ride() -> None:
    planned = simulate(ride(), 5, 0.2)
    voyage = Voyage(ride(), 5, 240.0, 0.2)
    while voyage.index < 600:
        voyage.one_step()
    voyage.begin(PLAN[1])
    while voyage.index < len(planned.time_s):
        voyage.one_step()
    np.testing.assert_array_equal(voyage.truth().east_mps, planned.east_mps)
    np.testing.assert_array_equal(voyage.truth().charge_fraction, planned.charge_fraction)


def test_a_rider_who_turns_home_gets_there() -> None:
    voyage = Voyage(ride(), 5, 900.0, 0.2)
    while voyage.home_m < 300.0:
        voyage.one_step()
    voyage.begin(Leg("home", 0.0, steer=Steer.HOME, speed_mps=2.0))
    while voyage.home_m > 12.0:
        voyage.one_step()
    # 300 m out and home at about 2 m/s, and a turn.
    assert 280.0 < voyage.time_s < 400.0
    assert voyage.truth().leg_names == ("out", "home")


def test_a_step_of_a_fifth_of_a_second_is_fine_enough() -> None:
    # Still water, so nothing is random.
    coarse, fine = (totals(simulate(ride(Water()), 1, step_s)) for step_s in (0.2, 0.05))
    assert coarse.energy_wh == pytest.approx(fine.energy_wh, rel=2e-3)
    assert coarse.distance_m == pytest.approx(fine.distance_m, rel=2e-3)


def test_a_rising_wind_stops_at_its_maximum() -> None:
    water = Water(wind_from_deg=180.0, wind_mps=2.0, wind_rise_mps2=0.01, wind_most_mps=5.0)
    wind = surroundings(water, 6001, 0.1, 1).wind_north_mps
    assert wind[0] == pytest.approx(2.0)
    assert wind[1000] == pytest.approx(3.0)
    assert wind[-1] == pytest.approx(5.0)
    calm = surroundings(replace(water, wind_rise_mps2=0.0), 10, 0.1, 1).wind_north_mps
    assert calm == pytest.approx(2.0)
