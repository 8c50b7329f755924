"""Throttles: a duty and a motor current are held, and power follows as physics says."""

from dataclasses import replace

import numpy as np
import pytest

from tests.craft.battery import Battery, open_circuit_v, resistance_factor
from tests.craft.chance import Array
from tests.craft.craft import Craft, Ride
from tests.craft.crafts import BOARD, CRAFTS, SKIFF
from tests.craft.rider import Leg, Rider
from tests.craft.voyage import Voyage
from tests.craft.water import Water, surroundings


def held(craft: Craft, leg: Leg, seconds_s: float, water: Water | None = None) -> dict[str, Array]:
    ride = Ride(craft, water or Water(), Rider(max_power_w=5000.0), (leg,), 45.0, -30.0)
    voyage = Voyage(ride, 3, seconds_s, 0.2)
    while voyage.index < voyage.count:
        voyage.one_step()
    return voyage.columns()


@pytest.mark.parametrize("name", sorted(CRAFTS))
def test_a_duty_is_held_and_power_falls_as_the_pack_sags(name: str) -> None:
    craft = CRAFTS[name]
    true = held(craft, Leg("on", 0.0, duty=0.7), 1500.0)
    np.testing.assert_allclose((true["motor_volts_v"] / true["volts_v"])[50:], 0.7, rtol=2e-3)
    # Settled: between a resistor, P ~ V^2, and a propeller at a fixed advance ratio without
    # motor losses, P ~ V^3; a little more on the way up a wave hump, a little less beyond it.
    early, late = 300, -1
    volts, power = true["volts_v"], true["drive_w"]
    assert volts[late] < 0.98 * volts[early]
    exponent = np.log(power[late] / power[early]) / np.log(volts[late] / volts[early])
    assert 1.8 < exponent < 3.5


@pytest.mark.parametrize("name", sorted(CRAFTS))
def test_a_motor_current_is_held_and_power_stays(name: str) -> None:
    true = held(CRAFTS[name], Leg("on", 0.0, motor_amps_a=10.0), 1500.0)
    np.testing.assert_allclose(true["motor_amps_a"][50:], 10.0, rtol=1e-6)
    # A constant torque, whatever the pack's voltage: in calm water power is constant too.
    assert true["drive_w"][-1] == pytest.approx(true["drive_w"][600], rel=2e-3)
    assert true["volts_v"][-1] < true["volts_v"][600]


def test_a_duty_is_held_in_waves_and_wind() -> None:
    rough = Water(wind_mps=6.0, gust_sd_mps=1.5, wave_speed_mps=0.08, drift_mps=0.3)
    true = held(SKIFF, Leg("on", 0.0, duty=0.5), 300.0, rough)
    np.testing.assert_allclose((true["motor_volts_v"] / true["volts_v"])[50:], 0.5, rtol=1e-2)


def test_the_second_relaxation_settles_with_its_own_time() -> None:
    # First order, from rest at constant current: 1 - exp(-t / T) of I R.
    pack = replace(BOARD.battery, slow_resistance_ohm=0.0, slower_resistance_ohm=0.01)
    pack = replace(pack, slower_time_s=600.0, capacity_ah=3500.0)
    true = held(replace(BOARD, battery=pack), Leg("on", 0.0, power_w=300.0, ramp_s=0.0), 601.0)
    amps = float(true["amps_a"][1:].mean())
    assert true["slow_sag_v"][3000] == pytest.approx(0.01 * amps * (1.0 - np.exp(-1.0)), rel=5e-3)


def test_resistance_grows_in_the_cold_and_at_low_charge() -> None:
    # Common practice, no source: two to three times as much at 0 degC as at 25 degC.
    pack = Battery("lfp", 8, 25.0, 0.026, cold_growth_per_k=0.035, empty_growth=0.8)
    assert resistance_factor(pack, 0.5, 25.0) == 1.0
    assert 2.0 < resistance_factor(pack, 0.5, 0.0) < 3.0
    assert resistance_factor(pack, 0.3, 25.0) == 1.0
    assert resistance_factor(pack, 0.15, 25.0) == pytest.approx(1.2)
    assert resistance_factor(pack, 0.0, 25.0) == pytest.approx(1.8)
    plain = replace(pack, cold_growth_per_k=0.0, empty_growth=0.0)
    assert resistance_factor(plain, 0.0, -20.0) == 1.0


def test_a_cold_pack_sags_more_and_warms_itself() -> None:
    pack = replace(SKIFF.battery, cold_growth_per_k=0.035, temperature_degc=0.0)
    leg = Leg("on", 0.0, power_w=600.0, ramp_s=0.0)
    cold = held(replace(SKIFF, battery=pack), leg, 900.0)
    warm = held(replace(SKIFF, battery=replace(pack, temperature_degc=25.0)), leg, 900.0)
    assert cold["pack_degc"][-1] > 0.5
    for true, grown in ((warm, 1.0), (cold, resistance_factor(pack, 0.9, 0.0))):
        sag = open_circuit_v(pack, float(true["charge_fraction"][5])) - true["volts_v"][5]
        sag -= true["slow_sag_v"][5]
        assert sag == pytest.approx(true["amps_a"][5] * pack.resistance_ohm * grown, rel=5e-3)


def test_wind_turns_at_its_rate() -> None:
    water = Water(wind_from_deg=10.0, wind_mps=5.0, wind_turn_degps=0.1)
    around = surroundings(water, 6001, 0.1, 1)
    blows_deg = np.degrees(np.arctan2(around.wind_east_mps, around.wind_north_mps)) % 360.0
    assert blows_deg[[0, 3000, 6000]] == pytest.approx([190.0, 220.0, 250.0])
    speed = np.hypot(around.wind_east_mps, around.wind_north_mps)
    np.testing.assert_allclose(speed, 5.0)
