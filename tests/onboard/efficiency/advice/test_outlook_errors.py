"""The variances of an outlook, by finite differences and closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.efficiency.advice.home import Home
from onboard.efficiency.advice.outlook import Outlook, outlook
from onboard.efficiency.common_practice import AT_HOME_M, WEATHER_SD_FRACTION
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN, OFFSET, START, VOLTAGE
from tests.onboard.efficiency.advice.test_outlook import (
    SPEEDS,
    advise,
    ahead,
    six_km_out,
    straight_out,
)

VOLTS = 48.0
LEFT_BY = np.array([900.0, 420.0, -130.0, -11.0, 60.0])
"""Gradient of the energy left by each shared error [Wh]."""


def covariance() -> np.ndarray:
    """Return errors correlated as after a rested voltage."""
    sds = np.array([0.02, 0.03, 0.02, 0.05, 0.005])
    mixed = np.eye(5)
    mixed[START, GAIN] = mixed[GAIN, START] = -0.6
    mixed[CAPACITY, OFFSET] = mixed[OFFSET, CAPACITY] = 0.4
    mixed[GAIN, OFFSET] = mixed[OFFSET, GAIN] = 0.3
    return mixed * np.outer(sds, sds)


def known() -> Outlook:
    """Return an outlook with P = 10 + 20 v^3, exact but for weather and shared errors."""

    def power_at(speed_mps, course_deg):
        power = 10 + 20 * speed_mps**3
        nothing = np.zeros(len(power))
        return power, nothing, np.ones(len(power), bool), nothing

    def left_at(power_w):
        full = np.full(len(power_w), 500.0)
        return full, np.tile(LEFT_BY, (len(power_w), 1)), np.zeros(len(power_w))

    return outlook(SPEEDS, None, power_at, left_at, VOLTS, covariance())


def with_errors(errors: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return energy left and power at each speed with given sensor errors."""
    power = (10 + 20 * SPEEDS**3) * (1 + errors[GAIN]) * (1 + errors[VOLTAGE])
    return 500.0 + LEFT_BY @ errors, power + VOLTS * errors[OFFSET]


def gradient_of(value) -> np.ndarray:
    """Return the gradient by central differences along each error, shape (speeds, 5)."""
    step = 1e-5
    rows = [
        (value(*with_errors(step * one)) - value(*with_errors(-step * one))) / (2 * step)
        for one in np.eye(5)
    ]
    return np.stack(rows, axis=1)


@pytest.mark.parametrize("distance_m", [2_000.0, 15_000.0])
def test_the_variance_of_the_margin_is_that_of_its_parts(distance_m: float) -> None:
    by = gradient_of(lambda left, power: left - power / SPEEDS * distance_m / 3600)
    exact = np.einsum("ni,ij,nj->n", by, covariance(), by)
    needed, margin, sd = known().margin(distance_m)
    assert needed == pytest.approx((10 + 20 * SPEEDS**3) / SPEEDS * distance_m / 3600)
    assert margin == pytest.approx(500.0 - needed)
    # A cost known to 3 % is nearly normal: its upper side counts for a thirtieth more.
    weather = (1.0316 * WEATHER_SD_FRACTION * needed) ** 2
    assert sd == pytest.approx(np.sqrt(exact + weather), rel=1e-3)


@pytest.mark.parametrize(("seconds", "counts_s"), [(600.0, 600.0), (3600.0, 3600.0), (9e3, 3600.0)])
def test_the_water_wanders_on_the_way(seconds: float, counts_s: float) -> None:
    # The mean of a random walk over a time T has the variance q T / 3; it comes and goes after an
    # hour. Here a m/s of water changes the power by e: (d ln P)^2 = 1 s^2/m^2.
    speed = SPEEDS[40]
    needed, _, sd = ahead(water=1.0).margin(speed * seconds)
    of_water = WANDER_M2PS3 * counts_s / 3
    relative = np.sqrt(WEATHER_SD_FRACTION**2 + of_water)
    upper = np.expm1(2.05 * relative) / 2.05
    assert sd[40] == pytest.approx(needed[40] * upper, rel=1e-6)
    assert of_water > 0.1 * WEATHER_SD_FRACTION**2


def tried_from(speed_mps: float, full_wh: float = 500.0) -> Outlook:
    return replace(ahead(full_wh=full_wh), seen=speed_mps <= SPEEDS)


def test_the_way_home_uses_an_observed_speed_if_one_suffices() -> None:
    # 6 km: 39.7 Wh at 0.63 m/s; 25/3 Wh/km, so 50 Wh, at 1.0 m/s, the lowest speed tried.
    home = six_km_out()
    assert advise(home, tried_from(1.0, 500.0), 0.0).speed_mps == pytest.approx(1.0, abs=0.02)
    assert advise(home, tried_from(1.0, 60.0), 0.0).speed_mps == pytest.approx(1.0, abs=0.02)
    assert advise(home, tried_from(1.0, 48.0), 0.0).speed_mps == pytest.approx(0.63, abs=0.02)


def test_the_margin_shown_has_the_interval_of_the_evaluation() -> None:
    home = six_km_out()
    outlook = ahead(full_wh=60.0, log_variance=0.01)
    way = advise(home, outlook, 0.0)
    row = int(np.argmin(np.abs(SPEEDS - way.speed_mps)))
    needed, margin, sd = outlook.margin(way.distance_m)
    assert way.margin_wh.value == pytest.approx(margin[row])
    assert way.margin_wh.high - way.margin_wh.low == pytest.approx(2 * 1.959964 * sd[row])
    half = 1.959964 * needed[row] * np.hypot(0.1, WEATHER_SD_FRACTION)
    assert way.energy_wh.high - way.energy_wh.value == pytest.approx(half)


@pytest.mark.parametrize(
    ("metres", "turn_back"), [(AT_HOME_M - 8.0, False), (AT_HOME_M + 8.0, True)]
)
def test_no_turn_back_at_home(metres: float, turn_back: bool) -> None:
    # The pack is as good as empty.
    # 50 s out at 2 m/s, then home is set so many metres ahead.
    home = Home()
    home.fold(straight_out(60))
    home.put(45.0 + (100.0 + metres) / 111_131.8, -30.0)
    assert home.where()[0] == pytest.approx(metres, abs=0.1)
    assert advise(home, ahead(full_wh=0.001), 0.0).turn_back is turn_back


def test_turn_back_ends_at_home() -> None:
    home, out = Home(), straight_out(40)
    home.fold(out)
    home.turn_back = True
    home.put(float(out.latitude_deg[-1]), float(out.longitude_deg[-1]))
    assert advise(home, ahead(full_wh=0.001), 0.0).turn_back is False


def test_a_home_set_before_the_start_stays() -> None:
    home = Home()
    home.put(45.02, -30.0)
    home.fold(straight_out(510))
    # 0.02 degrees of latitude are 2223 m; a kilometre of it is made.
    distance, bearing = home.where()
    assert distance == pytest.approx(0.02 * 111_131.8 - 1000.0, abs=3.0)
    assert bearing == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(("before", "seconds"), [(40.5, 30.0), (42.3, 30.0)])
def test_the_time_to_react_is_kept_on_the_way_out(before: float, seconds: float) -> None:
    # The energy that must be left: the way home from the place in half a minute, plus half a
    # minute's power; by hand from the rows.
    home = six_km_out()
    outlook = ahead(full_wh=before)
    spare_wh, power_w = home.evaluate(outlook, 1.0)
    _, margin, sd = outlook.margin(home.where()[0] + seconds * 1.0)
    surely = margin - 1.644854 * sd
    row = int(np.argmax(surely))
    assert power_w == pytest.approx(outlook.power_w[row])
    assert spare_wh == pytest.approx(surely[row] - seconds * power_w / 3600)
