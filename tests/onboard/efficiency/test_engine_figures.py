"""Figures by hand: ratios of sums, energy left, range, and when a figure is unknown."""

import numpy as np
import pytest

from onboard.block import Block
from onboard.contract.battery import BatteryState
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.reach import range_now_m, time_riding_s
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.engine import Engine
from onboard.efficiency.statistics.shared_errors import Spread
from onboard.efficiency.trip.consumption import Stretch, wh_per_km
from onboard.profile import Battery, Profile, Sensors
from tests.onboard.efficiency.advice.plain_pack import PlainPack, riding
from tests.onboard.efficiency.made_channels import channel

EXACT = np.zeros((5, 5))
PACK = Battery(chemistry="li-ion", cells=14, energy_wh=1000.0, reserve_fraction=0.2)


def cruise(t_s, watts, speed, volts=50.0) -> Block:
    t_s = np.asarray(t_s, float)
    return Block(
        {
            "power": channel("power", t_s, volts_v=volts, amps_a=np.asarray(watts) / volts),
            "gps": channel("gps", t_s, fix=3, speed_mps=speed),
        }
    )


def plain(value: float) -> Spread:
    return Spread(value, np.zeros(5))


def test_rule_of_three() -> None:
    # Check values that are common practice in the trade, no source: 385 Wh over 11.3 km is
    # 34 Wh/km; 640 Wh then go 18.7 to 18.9 km, 2560 Wh about 75 km, 9.5 h at 2.2 m/s.
    ratio = wh_per_km(Stretch(5400.0, plain(385.0), plain(11_300.0)), EXACT).value
    assert round(ratio) == 34
    power_w = 385.0 / 11_300.0 * 3600.0 * 2.2
    now = riding(power_w, 2.2)
    assert 18_700 <= range_now_m(PlainPack(640.0), now).value <= 18_900
    far = range_now_m(PlainPack(2560.0), now).value
    assert far == pytest.approx(75_000, rel=0.005)
    assert time_riding_s(PlainPack(2560.0), now).value / 3600 == pytest.approx(9.5, abs=0.05)
    assert far / 2.2 / 3600 == pytest.approx(9.5, abs=0.05)


def test_intervals_include_the_sensors_uncertainty() -> None:
    # Gain 2 % and voltage 0.5 %: 2.06 %, of which 1.96 times are the interval's half.
    engine = Engine(Profile(sensors=Sensors(current_offset_sd_a=0.0)))
    engine.fold(cruise(np.arange(0, 3601.0), 200.0, 2.0))
    energy = engine.figures().trip.energy_wh
    half = 1.959964 * np.hypot(0.02, 0.005) * 200.0
    assert (energy.low, energy.high) == pytest.approx((200.0 - half, 200.0 + half))
    # The zero: 0.02 A on 50 V for an hour is a watt-hour.
    zero = Sensors(current_scale_sd=0.0, voltage_scale_sd=0.0)
    engine = Engine(Profile(sensors=zero))
    engine.fold(cruise(np.arange(0, 3601.0), 200.0, 2.0))
    energy = engine.figures().trip.energy_wh
    assert energy.high - energy.value == pytest.approx(1.959964)


def test_windows_are_ratios_of_sums_not_means_of_ratios() -> None:
    engine = Engine(Profile(battery=PACK))
    t_s = np.arange(0, 601.0)
    fast = t_s > 580
    engine.fold(cruise(t_s, np.where(fast, 600.0, 200.0), np.where(fast, 3.0, 2.0)))
    windows = engine.figures().wh_per_km
    # The step between both is a trapezoid: half a second of each.
    assert windows.last_20_s.value == pytest.approx((19.5 * 600 + 0.5 * 200) / 3.6 / 59.5, rel=1e-3)
    assert windows.last_300_s.value == pytest.approx(
        (19.5 * 600 + 280.5 * 200) / 3.6 / (19.5 * 3 + 280.5 * 2), rel=1e-6
    )
    assert windows.trip.value == pytest.approx(
        (19.5 * 600 + 580.5 * 200) / 3.6 / (19.5 * 3 + 580.5 * 2), rel=1e-4
    )
    assert isinstance(windows.since_mark, Unknown)


def test_energy_left_and_range() -> None:
    exact = Battery(
        chemistry="li-ion", cells=14, energy_wh=1000.0, reserve_fraction=0.2, resistance_ohm=1e-6
    )
    engine = Engine(Profile(battery=exact))
    engine.fold(cruise(np.arange(0, 1801.0), 400.0, 2.0))
    figures = engine.figures()
    assert isinstance(figures.battery, BatteryState)
    # 1000 Wh full, 200 Wh kept; 4 Ah drawn at 50 V. The table's cells have 53 V on average, more
    # of it when full: they hold 18.99 Ah, and what is gone of them was worth more than 200 Wh.
    full_ah = 1000.0 / (14 * 3.7606)
    gone = np.interp(
        1 - 4.0 / full_ah, OCV_CURVES["li-ion"].fraction, OCV_CURVES["li-ion"].energy_fraction()
    )
    left = (gone - 0.2) * 1000.0
    assert figures.battery.left_wh.value == pytest.approx(left, rel=2e-3)
    assert figures.battery.left_fraction.value == pytest.approx(left / 1000.0, rel=2e-3)
    assert figures.battery.left_wh.low < left < figures.battery.left_wh.high
    assert figures.range_m.now.value == pytest.approx(left / 400 * 3600 * 2.0, rel=2e-3)
    assert figures.time_left_s.value == pytest.approx(left / 400 * 3600, rel=2e-3)
    assert figures.trip.mean_power_w == pytest.approx(400.0)
    assert figures.trip.mean_speed_mps == pytest.approx(2.0, rel=1e-4)


def test_energy_left_is_never_negative_and_needs_a_battery() -> None:
    engine = Engine(Profile(battery=PACK))
    engine.fold(cruise(np.arange(0, 5001.0), 1000.0, 2.0))
    left = engine.figures().battery.left_wh
    assert left.value == left.low == 0.0
    assert engine.figures().range_m.now.value == 0.0
    assert Engine(Profile()).figures().battery == Unknown(Reason.NO_BATTERY)


def test_a_consumption_when_hardly_moving_is_unknown_with_the_reason() -> None:
    assert wh_per_km(Stretch(20.0, plain(1.0), plain(5.9)), EXACT) == Unknown(Reason.HARDLY_MOVING)
    assert isinstance(wh_per_km(Stretch(20.0, plain(1.0), plain(6.1)), EXACT), Figure)
    engine = Engine(Profile(battery=PACK))
    engine.fold(cruise(np.arange(0, 60.0), 10.0, 0.05))
    figures = engine.figures()
    assert figures.wh_per_km.last_20_s == Unknown(Reason.HARDLY_MOVING)
    assert figures.range_m.now == Unknown(Reason.TOO_LITTLE_RIDING)


def test_the_range_survives_a_stop() -> None:
    engine = Engine(Profile(battery=PACK))
    engine.fold(cruise(np.arange(0, 1000.0), 400.0, 2.0))
    engine.fold(cruise(np.arange(1000.0, 1400.0), 8.0, 0.0, volts=57.0))
    figures = engine.figures()
    assert figures.wh_per_km.last_300_s == Unknown(Reason.HARDLY_MOVING)
    riding = 400 / 3.6 / 2.0
    left = figures.battery.left_wh.value
    assert figures.range_m.now.value == pytest.approx(left / riding * 1000, rel=1e-3)
    # At rest the time left is that of the rest.
    assert figures.time_left_s.value > 40 * 3600


def test_a_silent_instrument_goes_stale_and_the_trip_remains() -> None:
    engine = Engine(Profile(battery=PACK))
    engine.fold(cruise(np.arange(0, 100.0), 400.0, 2.0))
    engine.fold(Block({"gps": channel("gps", np.arange(100.0, 110.0), fix=3, speed_mps=2.0)}))
    figures = engine.figures()
    assert figures.power_w == Unknown(Reason.POWER_QUIET, source="", age_s=10.0)
    assert figures.wh_per_km.last_20_s == Unknown(Reason.POWER_QUIET, source="", age_s=10.0)
    assert figures.speed_mps == 2.0
    assert figures.trip.energy_wh.value == pytest.approx(11.0)
    silent = engine.figures(silent_s=30.0)
    assert silent.speed_mps == Unknown(Reason.SPEED_QUIET, source="", age_s=30.0)
    assert silent.trip.distance_m.value == pytest.approx(218.0, rel=1e-3)


def test_a_ratio_of_sums_over_different_times_is_not_quoted() -> None:
    engine = Engine(Profile(battery=PACK))
    engine.fold(cruise(np.arange(0, 3000.0), 400.0, 2.0))
    assert engine.figures().trip.wh_per_km.value == pytest.approx(400 / 7.2, rel=1e-4)
    t_s = np.arange(3000.0, 3600.0)
    engine.fold(Block({"power": channel("power", t_s, volts_v=50.0, amps_a=8.0)}))
    figures = engine.figures()
    # The ratio is that of the part over which both were counted ..
    assert figures.trip.wh_per_km.value == pytest.approx(400 / 7.2, rel=1e-3)
    # .. and no range is made without a speed.
    assert figures.range_m.now == Unknown(Reason.SPEED_QUIET, source="", age_s=600.0)
    assert figures.trip.energy_wh.value == pytest.approx(400 / 3600 * 3599)


def test_without_any_data_every_figure_has_its_reason() -> None:
    figures = Engine(Profile()).figures()
    assert figures.power_w == Unknown(Reason.NO_POWER_MONITOR)
    assert figures.speed_mps == Unknown(Reason.NO_GPS)
    assert figures.trip.wh_per_km == Unknown(Reason.NO_POWER_MONITOR)
    engine = Engine(Profile())
    engine.fold(Block({"power": channel("power", [0, 1], volts_v=50.0)}))
    engine.fold(Block({"gps": channel("gps", [0, 1], fix=1)}))
    assert engine.figures().power_w == Unknown(Reason.NO_CURRENT)
    assert engine.figures().speed_mps == Unknown(Reason.NO_FIX)


def test_without_a_fix_a_speed_of_zero_from_elsewhere_is_ignored() -> None:
    engine = Engine(Profile())
    t_s = np.arange(0, 60.0)
    no_fix = {"gps": channel("gps", t_s, fix=1), "hud": channel("hud", t_s, speed_mps=0.0)}
    engine.fold(Block(no_fix))
    assert engine.figures().speed_mps == Unknown(Reason.NO_FIX)
    assert engine.figures().trip.distance_m == Unknown(Reason.NO_FIX)
    without_receiver = Engine(Profile())
    without_receiver.fold(Block({"hud": channel("hud", t_s, speed_mps=2.0)}))
    assert without_receiver.figures().trip.distance_m.value == pytest.approx(118.0, rel=1e-3)


def test_a_pack_that_falls_silent_leaves_the_present_power_unknown() -> None:
    engine = Engine(Profile())
    t_s = np.concatenate([np.repeat(np.arange(100.0), 2), np.arange(100.0, 200.0)])
    pack = np.concatenate([np.tile([0.0, 1.0], 100), np.zeros(100)])
    engine.fold(Block({"battery": channel("battery", t_s, pack=pack, volts_v=50.0, amps_a=10.0)}))
    assert engine.figures().power_w == Unknown(Reason.POWER_QUIET, source="battery 1", age_s=100.0)
    assert engine.figures().trip.energy_wh.value == pytest.approx((199 + 99) * 500 / 3600)


def test_packs_that_measure_current_are_summed_without_the_summary() -> None:
    engine = Engine(Profile(sensors=Sensors()))
    t_s = np.repeat(np.arange(0, 3601.0), 2)
    pack = np.tile([0.0, 1.0], 3601)
    amps = np.where(pack == 0, 4.0, 6.0)
    engine.fold(
        Block(
            {
                "power": channel("power", np.arange(0, 3601.0), volts_v=50.0, amps_a=4.0),
                "battery": channel("battery", t_s, pack=pack, volts_v=50.0, amps_a=amps),
            }
        )
    )
    assert engine.figures().trip.energy_wh.value == pytest.approx(500.0)
    assert engine.figures().amps_a == pytest.approx(10.0)


def test_a_pack_without_current_leaves_the_summary_counting() -> None:
    engine = Engine(Profile())
    t_s = np.arange(0, 3601.0)
    engine.fold(
        Block(
            {
                "power": channel("power", t_s, volts_v=50.0, amps_a=4.0),
                "battery": channel("battery", t_s, pack=0, volts_v=50.0),
            }
        )
    )
    assert engine.figures().trip.energy_wh.value == pytest.approx(200.0)
