"""Laps in a water current, against closed forms: what cancels, and what stays."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.special import ellipe

from onboard.efficiency.trial.leg import lap_leg, leg
from tests.onboard.efficiency.trial.made_laps import circle, ideal_round, out_and_back, square
from tests.onboard.efficiency.trial.made_legs import made_seconds

# Kinematics: on a course held over ground at the angle x to a water current c, a craft makes
# c cos x + sqrt(v^2 - c^2 sin^2 x), and time is the integral of its inverse over length.


def speed_there_and_back(through: float, water: float) -> float:
    """Return (v^2 - c^2) / v: the harmonic mean of v + c and v - c."""
    return (through**2 - water**2) / through


def speed_across(through: float, water: float) -> float:
    """Return sqrt(v^2 - c^2)."""
    return math.sqrt(through**2 - water**2)


def speed_round_a_circle(through: float, water: float) -> float:
    """Return the inverse of the mean of (sqrt(v^2 - c^2 sin^2 x) - c cos x) / (v^2 - c^2).

    The mean of the root is 2 / pi times v times the complete elliptic integral of the second kind
    with the parameter (c / v)^2 (Abramowitz and Stegun 17.3.3; scipy.special.ellipe).
    """
    mean = 2.0 / math.pi * through * float(ellipe((water / through) ** 2))
    return (through**2 - water**2) / mean


@pytest.mark.parametrize("water", [0.0, 0.15, 0.3, 0.6])
@pytest.mark.parametrize(
    ("heading", "set_deg", "expected"),
    [
        (out_and_back, 0.0, speed_there_and_back),
        (out_and_back, 90.0, speed_across),
        (circle, 0.0, speed_round_a_circle),
        (circle, 130.0, speed_round_a_circle),
    ],
)
def test_speed_round_a_closed_course_in_a_current(
    heading: Callable[[float], float],
    set_deg: float,
    expected: Callable[[float, float], float],
    water: float,
) -> None:
    set_rad = math.radians(set_deg)
    seconds = ideal_round(
        heading, 2400.0, 2.0, (water * math.sin(set_rad), water * math.cos(set_rad))
    )
    lap = lap_leg(seconds, "a")
    assert lap.lap_m == pytest.approx(2400.0, rel=2e-3)  # less than a second is cut off
    assert lap.speed_mps == pytest.approx(expected(2.0, water), rel=1.5e-3)


def test_what_stays_of_0_3_at_2_metres_a_second() -> None:
    # c^2 / v^2 is 2.25 %; 1 / (1 - c^2 / v^2) - 1 of Wh/km is 2.3 %.
    still = lap_leg(ideal_round(out_and_back, 2400.0, 2.0), "a")
    lap = lap_leg(ideal_round(out_and_back, 2400.0, 2.0, (0.0, 0.3)), "a")
    costlier = still.speed_mps / lap.speed_mps - 1.0
    assert costlier == pytest.approx(0.0230, abs=0.0015)
    # Alike for set-ups of like speed: of 6 % between them, 0.3 % is the water's.
    slower = lap_leg(ideal_round(out_and_back, 2400.0, 2.0 / 1.06, (0.0, 0.3)), "b")
    assert lap.speed_mps / slower.speed_mps - 1.0 == pytest.approx(0.063, abs=0.0015)


def test_half_a_course_does_not_cancel() -> None:
    # First order in c: only what closes cancels it.
    lap = lap_leg(ideal_round(square, 2400.0, 2.0, (0.0, 0.2), rounds=0.25), "a")
    assert lap.speed_mps == pytest.approx(2.2, rel=5e-3)


def test_a_square_cancels_from_whatever_direction_the_water_comes() -> None:
    for set_deg in (0.0, 20.0, 45.0, 70.0):
        set_rad = math.radians(set_deg)
        water = 0.2 * math.sin(set_rad), 0.2 * math.cos(set_rad)
        lap = lap_leg(ideal_round(square, 2400.0, 2.0, water), "a")
        # Between what stays along and across: 1 % and 0.5 %, half of each.
        assert lap.speed_mps == pytest.approx(2.0 * (1.0 - 0.0075), rel=2e-3)


def test_fields_of_a_lap() -> None:
    course = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    power = np.linspace(380.0, 420.0, 200)
    seconds = made_seconds(
        -2.0 * np.sin(course), 2.0 * np.cos(course), power, t_s=np.arange(200.0) + 101.0
    )
    lap = lap_leg(seconds, "slim", "log")
    assert (lap.setup, lap.place, lap.outing) == ("slim", "log", 0)
    assert (lap.start_s, lap.seconds_s, lap.middle_s) == (100.0, 200.0, 200.0)
    assert (lap.east_mps, lap.north_mps) == (0.0, 0.0)
    assert lap.speed_mps == pytest.approx(2.0)
    assert lap.lap_m == pytest.approx(400.0)
    assert lap.lap_area_m2 == pytest.approx(-(400.0**2) / 4.0 / np.pi, rel=1e-3)
    straight = leg(seconds, "slim", "log")
    assert (straight.lap_m, straight.lap_area_m2) == (0.0, 0.0)
    for name in ("power_w", "power_sd_w", "power_drift_fraction", "power_swing_fraction",
                 "amps_a", "volts_v", "start_s", "seconds_s"):  # fmt: skip
        assert getattr(lap, name) == getattr(straight, name)


def test_unknown_seconds_count_as_time_and_distance() -> None:
    course = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    east, north = 2.0 * np.sin(course), 2.0 * np.cos(course)
    power = np.full(200, 400.0)
    power[50:53] = np.nan
    lap = lap_leg(made_seconds(east, north, power), "a")
    assert (lap.speed_mps, lap.lap_m) == pytest.approx((2.0, 400.0))
    assert (lap.power_w, lap.seconds_s) == (400.0, 200.0)


def test_the_standard_error_is_of_noise_and_not_of_the_current() -> None:
    steady = lap_leg(ideal_round(circle, 600.0, 2.0, (0.0, 0.2)), "a")
    # What is left of the current is of the second order.
    assert steady.speed_sd_mps < 0.01
    rng = np.random.default_rng(1)
    course = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    speed = 2.0 + 0.1 * rng.standard_normal(400)
    noisy = lap_leg(made_seconds(speed * np.sin(course), speed * np.cos(course)), "a")
    assert noisy.speed_sd_mps == pytest.approx(0.1 / math.sqrt(400.0), rel=0.2)
