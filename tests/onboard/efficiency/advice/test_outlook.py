"""Cost against algebra, for a power law and a constant-energy battery."""

import numpy as np
import pytest

from onboard.efficiency.advice.outlook import outlook
from onboard.efficiency.common_practice import WEATHER_SD_FRACTION
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


def test_a_cost_known_only_to_a_factor_counts_for_more() -> None:
    needed, _, sharp = ahead(log_variance=0.0).margin(10_000.0)
    _, _, vague = ahead(log_variance=0.25).margin(10_000.0)
    assert sharp == pytest.approx(needed * WEATHER_SD_FRACTION, rel=0.04)
    assert np.all(vague > 0.8 * needed)
