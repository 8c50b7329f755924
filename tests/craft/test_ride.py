"""Whole rides."""

import math
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic  # type: ignore[import-untyped]
from scipy.integrate import simpson
from scipy.signal import welch

from tests.craft.craft import Ride
from tests.craft.crafts import BOARD, SKIFF
from tests.craft.recording import Recording
from tests.craft.ride import simulate
from tests.craft.rider import Leg, Rider, Steer
from tests.craft.scenarios import AT_ANCHOR, HARBOUR_LOOP, LONG_CRUISE
from tests.craft.steady import calm_power_w
from tests.craft.truth import leg_bounds, totals
from tests.craft.water import Water

STILL = Water()


def straight(power_w: float, water: Water = STILL, duration_s: float = 240.0) -> Ride:
    craft = replace(SKIFF, hull=replace(SKIFF.hull, windage_area_m2=0.0))
    legs = (Leg("straight", duration_s, 90.0, power_w=power_w),)
    return Ride(craft, water, Rider(max_power_w=1500.0), legs, 45.0, -30.0)


def test_totals_agree_with_another_integration(harbour: Recording) -> None:
    # Against scipy.integrate.simpson.
    truth, sums = harbour.truth, totals(harbour.truth)
    time_s = truth.time_s
    assert sums.energy_wh == pytest.approx(simpson(truth.power_w, x=time_s) / 3600.0, rel=1e-5)
    assert sums.charge_ah == pytest.approx(simpson(truth.amps_a, x=time_s) / 3600.0, rel=1e-5)
    assert sums.distance_m == pytest.approx(simpson(truth.speed_mps, x=time_s), rel=1e-5)
    assert sums.mean_power_w * sums.duration_s == pytest.approx(sums.energy_wh * 3600.0)


def test_legs_add_up_to_the_whole(harbour: Recording) -> None:
    truth, sums = harbour.truth, totals(harbour.truth)
    parts = [totals(truth, first, last) for _, first, last in leg_bounds(truth)]
    assert [name for name, _, _ in leg_bounds(truth)] == [
        leg.name for leg in harbour.scenario.ride.plan
    ]
    assert sum(part.energy_wh for part in parts) == pytest.approx(sums.energy_wh)
    assert sum(part.distance_m for part in parts) == pytest.approx(sums.distance_m)
    assert sum(part.duration_s for part in parts) == pytest.approx(sums.duration_s)


def test_halving_the_step_changes_little() -> None:
    # The step is fine enough; still water, so nothing is random.
    legs = (Leg("out", 60.0, 0.0, power_w=400.0), Leg("turn", 60.0, 170.0, power_w=900.0))
    ride = replace(straight(0.0), plan=legs)
    coarse, fine = totals(simulate(ride, 1)), totals(simulate(ride, 1, step_s=0.025))
    assert coarse.energy_wh == pytest.approx(fine.energy_wh, rel=1e-3)
    assert coarse.distance_m == pytest.approx(fine.distance_m, rel=2e-3)


def test_track_length_on_the_ellipsoid(harbour: Recording) -> None:
    # Against GeographicLib: short geodesics between the steps, and from end to end.
    truth = harbour.truth
    every = slice(0, None, 40)
    latitudes, longitudes = truth.latitude_deg[every], truth.longitude_deg[every]
    pairs = zip(latitudes[:-1], longitudes[:-1], latitudes[1:], longitudes[1:], strict=True)
    length_m = sum(Geodesic.WGS84.Inverse(*pair)["s12"] for pair in pairs)
    east_m, north_m = truth.east_m[every], truth.north_m[every]
    chords_m = float(np.hypot(np.diff(east_m), np.diff(north_m)).sum())
    assert length_m == pytest.approx(chords_m, rel=1e-6)


def test_shaft_chain_conserves_energy(harbour: Recording) -> None:
    # First law at every step, from the battery to the water.
    truth, craft = harbour.truth, harbour.scenario.ride.craft
    same = partial(np.testing.assert_allclose, rtol=1e-8, atol=1e-6)
    same(truth.power_w, truth.drive_w + craft.hotel_w)
    motor_w = truth.motor_volts_v * truth.motor_amps_a
    same(motor_w, truth.drive_w * craft.motor.drive_efficiency_fraction)
    lost_w = truth.motor_amps_a**2 * craft.motor.resistance_ohm
    lost_w = lost_w + craft.motor.no_load_a * truth.motor_rpm / craft.motor.kv_rpm_per_v
    same(motor_w - lost_w, truth.shaft_w)
    same(truth.shaft_w * craft.motor.gear_efficiency_fraction, truth.propeller_w)
    driven = truth.propeller_w > 0.0
    assert np.all((truth.thrust_n * truth.water_mps)[driven] < truth.propeller_w[driven])
    assert np.all(truth.motor_volts_v <= truth.volts_v)


@pytest.mark.parametrize("speed_mps", [1.2, 2.2, 3.0])
def test_a_straight_ride_settles_on_the_calm_curve(speed_mps: float) -> None:
    # Newton's second law at rest: two ways to the same speed, one by time steps, one by balance.
    ride = straight(calm_power_w(SKIFF, STILL, speed_mps) - SKIFF.hotel_w)
    assert simulate(ride, 1).water_mps[-1] == pytest.approx(speed_mps, rel=2e-4)


def test_a_turn_costs_speed() -> None:
    # Common practice, no source: a tight turn slows a craft at constant power.
    ride = straight(400.0)
    legs = (Leg("out", 120.0, 0.0, power_w=400.0), Leg("back", 40.0, 175.0, power_w=400.0))
    speeds_mps = simulate(replace(ride, plan=legs), 1).water_mps[2300:]
    assert 0.5 < speeds_mps.min() / speeds_mps[0] < 0.98
    assert speeds_mps[-1] == pytest.approx(speeds_mps[0], rel=0.01)


def test_the_current_carries_the_craft() -> None:
    # Galileo: the same ride in moving water differs by the water's own motion.
    current = Water(set_deg=90.0, drift_mps=0.4)
    still, moved = simulate(straight(300.0), 1), simulate(straight(300.0, current), 1)
    assert moved.water_mps[-1] == pytest.approx(still.water_mps[-1], rel=1e-3)
    assert moved.speed_mps[-1] - still.speed_mps[-1] == pytest.approx(0.4, abs=2e-3)


@pytest.mark.slow
def test_waves_vary_the_speed_with_the_stated_periods() -> None:
    # Welch's spectrum: most of the variation is between 2 and 5 s.
    water = Water(wave_speed_mps=0.08)
    truth = simulate(straight(300.0, water, 900.0), 4)
    settled = truth.water_mps[2400:]
    frequencies, density = welch(settled - settled.mean(), 1.0 / truth.step_s, nperseg=2400)
    inside = (frequencies > 1.0 / 5.5) & (frequencies < 1.0 / 1.8)
    assert density[inside].sum() / density.sum() > 0.95
    assert settled.std() == pytest.approx(0.08, rel=0.15)


def test_the_rider_keeps_the_plan(harbour: Recording) -> None:
    truth = harbour.truth
    bounds = {name: (first, last) for name, first, last in leg_bounds(truth)}
    for name, speed_mps, course_deg in (("cruise", 2.2, 30.0), ("push", 3.0, 45.0)):
        first, last = bounds[name]
        late = slice((first + last) // 2, last)
        assert truth.speed_mps[late].mean() == pytest.approx(speed_mps, rel=0.02)
        made_good = math.atan2(truth.east_mps[late].mean(), truth.north_mps[late].mean())
        assert math.degrees(made_good) == pytest.approx(course_deg, abs=4.0)
    assert math.hypot(truth.east_m[-1], truth.north_m[-1]) < 15.0


def test_plausible_power() -> None:
    # Required of the demo craft: some 300 to 450 W at 2.2 m/s, clearly more at 3.0 m/s.
    assert 300.0 < calm_power_w(SKIFF, STILL, 2.2) < 450.0
    assert calm_power_w(SKIFF, STILL, 3.0) > 2.0 * calm_power_w(SKIFF, STILL, 2.2)
    assert calm_power_w(BOARD, STILL, 2.0) < 300.0


def test_at_anchor_nothing_drives() -> None:
    truth = simulate(AT_ANCHOR.ride, AT_ANCHOR.seed)
    assert truth.duration_s == pytest.approx(300.0)
    assert np.all(truth.drive_w == 0.0)
    assert totals(truth).energy_wh == pytest.approx(SKIFF.hotel_w * 300.0 / 3600.0)
    assert truth.speed_mps.max() < 0.1
    assert totals(truth).under_way_distance_m == 0.0 < totals(truth).distance_m
    assert np.hypot(truth.east_m, truth.north_m).max() < 2.0


@pytest.mark.slow
def test_long_cruise_lasts_an_hour() -> None:
    truth = simulate(LONG_CRUISE.ride, LONG_CRUISE.seed)
    assert truth.duration_s == pytest.approx(3600.0)
    assert 0.3 < truth.charge_fraction[-1] < 0.9
    assert len({round(speed, 1) for speed in truth.speed_mps[::1200]}) > 5


def test_rides_depend_only_on_the_seed() -> None:
    ride = replace(HARBOUR_LOOP.ride, plan=HARBOUR_LOOP.ride.plan[:3])
    first, again, other = simulate(ride, 7), simulate(ride, 7), simulate(ride, 8)
    assert np.array_equal(first.water_mps, again.water_mps)
    assert not np.array_equal(first.water_mps, other.water_mps)
    assert ride.plan[0].steer is Steer.MADE_FAST
