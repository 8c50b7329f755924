"""The present way of riding, the trip's common part, and bands."""

import numpy as np
import pytest

from onboard.block import COLUMNS, Block, Channel
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.present_riding import PresentRiding
from onboard.efficiency.engine import Engine
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.trip.speed_bands import SpeedBands
from onboard.profile import Profile


def settled(power, speed, begin_s=0.0) -> SettledSeconds:
    power, speed = np.broadcast_arrays(np.asarray(power, float), np.asarray(speed, float))
    count = len(power)
    nothing = np.full(count, np.nan)
    volts = np.where(np.isnan(power), np.nan, 50.0)
    return SettledSeconds(
        begin_s + np.arange(1.0, count + 1), power, power / 50.0, volts, np.cumsum(power) / 18e4,
        nothing, speed, speed, *([nothing] * 3),
    )  # fmt: skip


def riding(*stretches):
    """Fold stretches of (power, speed, seconds)."""
    present = PresentRiding()
    begin = 0.0
    for power, speed, seconds in stretches:
        present.fold(settled(np.full(seconds, power), np.full(seconds, speed), begin))
        begin += seconds
    return present.now()


def test_a_changed_throttle_starts_a_new_way_of_riding() -> None:
    now = riding((150, 1.6, 900), (420, 2.3, 300))
    assert (now.power_w, now.speed_mps) == pytest.approx((420, 2.3))
    assert 270 <= now.seconds_s <= 300


def test_an_eased_throttle_starts_a_new_way_of_riding() -> None:
    now = riding((420, 2.3, 900), (150, 1.6, 300))
    assert (now.power_w, now.speed_mps) == pytest.approx((150, 1.6))
    assert 270 <= now.seconds_s <= 300


@pytest.mark.parametrize(
    ("power", "speed", "hand"),
    [
        # Both more, or both less, and by enough: the throttle.
        (300, 2.3, True),
        (120, 1.7, True),
        (200, 2.3, False),
        (300, 2.0, False),
        # One at the other's cost: wind or water.
        (300, 1.7, False),
        (120, 2.3, False),
    ],
)
def test_throttle_changes_are_distinguished_from_wind_and_water(
    power: float, speed: float, hand: bool
) -> None:
    now = riding((200, 2.0, 600), (power, speed, 300))
    assert (now.seconds_s <= 300) is hand
    if hand:
        assert (now.power_w, now.speed_mps) == pytest.approx((power, speed))


def test_a_way_of_riding_that_has_just_begun_may_not_last() -> None:
    # Half a minute at 420 W after a quarter of an hour at 150 W: the older one stands, but the
    # newer one's consumption, 95 % more, is just inside the interval.
    steady, changed = riding((150, 1.6, 900)), riding((150, 1.6, 900), (420, 2.3, 30))
    assert changed.power_w == pytest.approx(150.0)
    sd = [np.sqrt(one.wh_per_km(7200.0).own_variance) for one in (steady, changed)]
    newer = 420 / 2.3 / 3.6 - changed.wh_per_km(7200.0).value
    assert sd[1] > 5 * sd[0]
    assert newer / 1.959964 < sd[1] < newer / 1.6
    draw = np.sqrt(changed.power(7200.0).own_variance)
    assert 270 / 1.959964 < draw < 270 / 1.6


def test_a_current_to_and_fro_is_averaged() -> None:
    # At constant power the speed over ground alternates: the water, not the throttle.
    now = riding(*[(300, 2.2, 240), (300, 1.8, 240)] * 4)
    assert now.speed_mps == pytest.approx(2.0 - 0.1, abs=0.01)
    assert now.seconds_s == 8 * 240
    # The difference between the last minutes is within the interval.
    spread = now.wh_per_km(3600.0)
    assert np.sqrt(spread.own_variance) / spread.value > 0.04


def test_a_held_speed_against_a_current_is_averaged() -> None:
    now = riding(*[(200, 2.0, 240), (400, 2.0, 240)] * 4)
    assert 290 < now.power_w < 360
    assert now.seconds_s == 8 * 240


def test_more_power_for_less_speed_is_the_water_not_the_throttle() -> None:
    now = riding(*[(300, 2.2, 240), (400, 1.9, 240)] * 4)
    assert now.seconds_s == 8 * 240


def test_a_way_of_riding_that_has_just_begun_waits() -> None:
    now = riding((150, 1.6, 900), (900, 3.0, 25))
    assert now.power_w == pytest.approx(150)
    # If it lasts, it is within the interval: 6 times the power, 3.2 times the consumption.
    later = now.power(600.0)
    assert later.value + 1.96 * np.sqrt(later.own_variance) > 900
    spread = now.wh_per_km(600.0)
    assert spread.value + 1.96 * np.sqrt(spread.own_variance) > 900 / 3.0 / 3.6
    assert riding((150, 1.6, 40)) == Unknown(Reason.TOO_LITTLE_RIDING)


def test_stops_do_not_count_as_riding() -> None:
    now = riding((300, 2.0, 300), (10, 0.0, 600), (300, 2.0, 30))
    assert (now.power_w, now.speed_mps) == pytest.approx((300, 2.0))


def test_the_interval_narrows_on_a_steady_ride() -> None:
    rng = np.random.default_rng(1)
    short, long = (
        riding(*[(300 * (1 + rng.normal() * 0.01), 2.0, 30) for _ in range(count)])
        for count in (4, 60)
    )
    sds = [np.sqrt(now.wh_per_km(3600.0).own_variance) / 41.7 for now in (short, long)]
    assert sds[1] < 0.5 * sds[0]
    assert sds[1] < 0.01


def test_bands_contain_everything_measured() -> None:
    rng = np.random.default_rng(2)
    power, speed = rng.uniform(50, 900, 5000), rng.uniform(0, 4.2, 5000)
    power[rng.random(5000) < 0.05] = np.nan
    whole, pieces = SpeedBands(), SpeedBands()
    every = settled(power, speed)
    whole.fold(every)
    for begin in range(0, len(every), 10):
        pieces.fold(every.part(begin, begin + 10))
    table = whole.table(np.zeros((5, 5)), 0.01)
    known = np.isfinite(power)
    assert sum(band.energy_wh for band in table) == pytest.approx(np.nansum(power) / 3600)
    assert sum(band.distance_m for band in table) == pytest.approx(speed[known].sum())
    assert sum(band.seconds for band in table) == known.sum()
    for band in table:
        inside = known & (speed >= band.speed_low_mps) & (speed < band.speed_high_mps)
        assert band.seconds == inside.sum()
        if not isinstance(band.wh_per_km, Unknown):
            assert band.wh_per_km.low < band.wh_per_km.value < band.wh_per_km.high
    assert [band.speed_high_mps - band.speed_low_mps for band in table] == [0.25] * len(table)
    again = pieces.table(np.zeros((5, 5)), 0.01)
    assert [band.energy_wh for band in again] == pytest.approx([b.energy_wh for b in table])


def test_a_second_in_a_gap_does_not_count_as_riding() -> None:
    t_s = np.concatenate([np.arange(100.0), np.arange(130.0, 200.0)])
    gps = {key: np.full(len(t_s), np.nan) for key in COLUMNS["gps"]}
    gps |= {"fix": np.full(len(t_s), 3.0), "speed_mps": np.full(len(t_s), 2.0)}
    every = np.arange(200.0)
    power = {key: np.full(200, np.nan) for key in COLUMNS["power"]}
    power |= {"volts_v": np.full(200, 50.0), "amps_a": np.full(200, 4.0)}
    engine = Engine(Profile())
    engine.fold(Block({"gps": Channel(t_s, gps), "power": Channel(every, power)}))
    seconds = sum(band.seconds for band in engine.bands())
    # 199 s, less the gap of 31 s, the first second and the last ones that are not settled.
    assert 160 <= seconds <= 167
    assert engine.figures().trip.distance_m.value == pytest.approx(398.0, rel=1e-3)
