"""Cost and way home against algebra, for a power law and a constant-energy battery."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.efficiency.advice.home import Home
from onboard.efficiency.advice.outlook import Outlook, outlook
from onboard.efficiency.common_practice import WEATHER_SD_FRACTION
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN

SPEEDS = np.linspace(0.3, 4.0, 200)
NOTHING = np.zeros((5, 5))


def ahead(full_wh=500.0, covariance=NOTHING, *, log_variance=0.0, head_mps=0.0, water=0.0):
    """Return an outlook with P = 10 + 20 w^3, w the speed through water, in a head current."""

    def power_at(speed_mps, course_deg):
        power = 10 + 20 * (speed_mps + head_mps) ** 3
        return power, np.full(len(power), log_variance), speed_mps < 3.0, np.full(len(power), water)

    def left_at(power_w):
        gradient = np.zeros((len(power_w), 5))
        gradient[:, CAPACITY] = full_wh
        return np.full(len(power_w), full_wh), gradient, np.zeros(len(power_w))

    return outlook(SPEEDS, None, power_at, left_at, 50.0, covariance)


def test_the_best_speed_in_still_water_and_against_a_current() -> None:
    # P0 10, c 20: without a current v* = (P0/2c)^(1/3), 6.61417 Wh/km; a head current of 0.5 m/s:
    # 1.0 m/s through the water, 16.66667 Wh/km (from 2 c v^3 - 3 c u v^2 - P0 = 0).
    still = ahead().range_m
    assert SPEEDS[still.argmax()] == pytest.approx(0.62996, abs=0.02)
    assert still.max() == pytest.approx(500 / 6.61417 * 1000, rel=1e-3)
    against = ahead(head_mps=0.5).range_m
    assert SPEEDS[against.argmax()] == pytest.approx(0.5, abs=0.02)
    assert against.max() == pytest.approx(500 / 16.66667 * 1000, rel=1e-3)


def test_the_margin_counts_a_shared_error_once() -> None:
    # A gain error makes every kilometre dearer; its effect on the count is in the battery's part.
    covariance = np.zeros((5, 5))
    covariance[GAIN, GAIN] = 0.02**2
    needed, margin, sd = ahead(covariance=covariance).margin(10_000.0)
    assert margin == pytest.approx(500.0 - needed)
    assert sd == pytest.approx(needed * np.hypot(0.02, WEATHER_SD_FRACTION), rel=0.04)


def straight_out(seconds: int, speed=2.0) -> SettledSeconds:
    t_s = np.arange(1.0, seconds + 1)
    moving = t_s > 10
    way = np.where(moving, (t_s - 10) * speed, 0.0)
    plain = np.full(seconds, np.nan)
    return SettledSeconds(
        t_s, plain, plain, plain, plain, np.zeros(seconds), np.where(moving, speed, 0.0),
        np.where(moving, speed, 0.0), 45.0 + way / 111_131.8, np.full(seconds, -30.0), plain,
    )  # fmt: skip


def test_home_is_where_the_craft_left_and_the_way_back_is_measured() -> None:
    home = Home()
    assert home.where() is None
    home.fold(straight_out(1010))
    distance, bearing = home.where()
    assert distance == pytest.approx(2000.0, abs=4.0)
    assert bearing == pytest.approx(180.0)
    home.put(45.0, -29.9)
    assert home.where()[1] != pytest.approx(180.0)


def six_km_out() -> Home:
    """Return a home six kilometres away, reached by drifting, so that any speed home will do."""
    home = Home()
    home.put(45.0, -30.0)
    home.fold(replace(straight_out(3010), distance_m=np.zeros(3010)))
    return home


def advise(home: Home, ahead: Outlook, leaving_mps: float):
    """Return the advice on the way home right after an evaluation."""
    home.evaluate(ahead, leaving_mps)
    return home.way(ahead, leaving_mps)


def test_the_advised_speed_home_is_not_a_crawl() -> None:
    home = Home()
    home.fold(straight_out(3010))
    # The cheapest speed is 0.63 m/s; 80 % of the 2 m/s ridden out are the least, 60 % in need.
    assert advise(home, ahead(), 2.0).speed_mps == pytest.approx(1.6, abs=0.02)
    assert advise(home, ahead(full_wh=90.0), 2.0).speed_mps == pytest.approx(1.2, abs=0.02)
    assert advise(six_km_out(), ahead(), 2.0).speed_mps == pytest.approx(0.63, abs=0.02)


def test_turn_back_comes_before_it_is_too_late_and_stays() -> None:
    home = six_km_out()
    # 6 km at best (6.6 Wh/km): 39.7 Wh, and 3 % weather at 1.64 sd.
    assert advise(home, ahead(full_wh=60.0), 2.0).turn_back is False
    assert advise(home, ahead(full_wh=41.0), 2.0).turn_back is True
    assert advise(home, ahead(full_wh=42.3), 2.0).turn_back is True
    assert advise(home, ahead(full_wh=60.0), -2.0).turn_back is False
    way = advise(home, ahead(full_wh=60.0), 2.0)
    assert way.energy_wh.value == pytest.approx(6000 / 1000 * 6.614, rel=5e-3)
    assert way.margin_wh.value == pytest.approx(60 - way.energy_wh.value)
    assert way.margin_wh.low < way.margin_wh.value < way.margin_wh.high


def test_turn_back_comes_sooner_when_leaving_than_when_returning() -> None:
    home = six_km_out()
    leaving = [advise(home, ahead(full_wh=energy), 3.0).turn_back for energy in (60.0, 42.2)]
    home.turn_back = False
    coming = advise(home, ahead(full_wh=42.2), -3.0).turn_back
    assert (leaving, coming) == ([False, True], False)


def test_a_cost_known_only_to_a_factor_counts_for_more() -> None:
    needed, _, sharp = ahead(log_variance=0.0).margin(10_000.0)
    _, _, vague = ahead(log_variance=0.25).margin(10_000.0)
    assert sharp == pytest.approx(needed * WEATHER_SD_FRACTION, rel=0.04)
    assert np.all(vague > 0.8 * needed)


def test_a_following_current_outward_hinders_on_the_way_home() -> None:
    home = six_km_out()
    still, against = advise(home, ahead(), 2.0), advise(home, ahead(head_mps=0.5), 2.0)
    assert against.energy_wh.value > 2 * still.energy_wh.value
