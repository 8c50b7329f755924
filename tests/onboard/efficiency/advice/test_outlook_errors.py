"""The variances of an outlook, by finite differences and closed forms."""

import numpy as np
import pytest

from onboard.efficiency.advice.outlook import Outlook, outlook
from onboard.efficiency.common_practice import WEATHER_SD_FRACTION
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN, OFFSET, START, VOLTAGE
from tests.onboard.efficiency.advice.test_outlook import SPEEDS, ahead

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
