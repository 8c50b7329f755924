"""A drive that cuts back for heat, and what only looks like it."""

import math

import numpy as np
import pytest

from onboard.efficiency.advice.conditions import AlertConditions
from onboard.efficiency.advice.heat_limit import HeatLimit
from onboard.efficiency.sources.minutes import Minute
from onboard.profile import Profile
from tests.onboard.efficiency.advice.made_seconds import settled

SECONDS = 600


def raised(**columns) -> bool:
    """Return whether a ride with these columns raises the alert."""
    alerts = AlertConditions(Profile(), cutoff_v=None)
    alerts.fold(settled(SECONDS, **columns))
    return "heat_limiting" in {event.alert.code for event in alerts.events}


def over(*points: tuple[float, float]) -> np.ndarray:
    """Return a column that goes through points (time [s], value)."""
    return np.interp(np.arange(SECONDS), *np.array(points).T)


def stated(throttle: np.ndarray) -> np.ndarray:
    """Return the throttle as VFR_HUD states it: in whole per cent."""
    return np.round(throttle, 2)


@pytest.mark.parametrize("power_of_throttle", [1.0, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("over_s", [20.0, 120.0, 300.0])
def test_easing_a_low_throttle_is_no_heat_limit(power_of_throttle: float, over_s: float) -> None:
    # From 0.269 to 0.245 is less than 0.03, but a quarter of the power of a duty.
    throttle = over((0, 0.269), (200, 0.269), (200 + over_s, 0.245), (SECONDS, 0.245))
    power = 300.0 * (throttle / 0.269) ** power_of_throttle
    assert not raised(throttle_fraction=stated(throttle), power_w=power)


@pytest.mark.parametrize("easing", [0.03, 0.06, 0.1])
@pytest.mark.parametrize("throttle", [0.25, 0.4, 0.7, 1.0])
def test_no_easing_is_a_heat_limit(throttle: float, easing: float) -> None:
    # Power goes with the cube at most, at settled speed.
    eased = over((0, throttle), (200, throttle), (260, throttle * (1 - easing)), (SECONDS,) * 2)
    eased[260:] = throttle * (1 - easing)
    speed = 2.0 * eased / throttle
    power = 500.0 * (eased / throttle) ** 3
    assert not raised(throttle_fraction=stated(eased), power_w=power, east_mps=speed)


@pytest.mark.parametrize("throttle", [0.3, 0.5, 0.9])
@pytest.mark.parametrize(
    "share",
    [
        over((0, 1.0), (150, 1.0), (450, 0.75), (SECONDS, 0.75)),
        over((0, 1.0), (300, 1.0), (301, 0.75), (SECONDS, 0.75)),
        np.repeat([1.0, 0.9, 0.8, 0.7], SECONDS // 4),
    ],
    ids=["slowly", "at once", "in steps"],
)
def test_a_quarter_less_power_at_a_held_throttle_is_one(throttle: float, share) -> None:
    # Less load lets the voltage rise; speed goes with the cube root; the hand corrects a little.
    corrected = throttle * (1.0 + 0.01 * np.sin(np.arange(SECONDS) / 40.0))
    columns = {
        "throttle_fraction": stated(corrected),
        "power_w": 500.0 * share * (corrected / throttle) ** 3,
        "volts_v": 50.0 - 1.5 * share,
        "east_mps": 2.0 * share ** (1 / 3),
    }
    assert raised(**columns)
    assert not raised(**columns | {"throttle_fraction": np.nan})


def test_a_wind_from_astern_is_no_heat_limit() -> None:
    # After the turn the propeller advances further each turn: less power, more speed.
    power = over((0, 220.0), (300, 220.0), (310, 160.0), (SECONDS, 160.0))
    speed = over((0, 1.4), (300, 1.4), (310, 2.1), (SECONDS, 2.1))
    assert not raised(power_w=power, east_mps=speed)
    # On another course it may as well be slower over ground: that is the water's doing.
    back = np.where(np.arange(SECONDS) < 300, 1.4, -1.2)
    assert not raised(power_w=power, east_mps=back)


def test_drifting_and_starting_within_a_minute_is_no_held_throttle() -> None:
    # A minute of two halves has a higher mean power than its mean throttle explains.
    halves = np.where(np.arange(SECONDS) // 30 % 2 == 0, 0.0, 0.66)
    throttle = np.where(np.arange(SECONDS) < 300, halves, 0.33)
    power = 375.0 * (throttle / 0.67) ** 3
    assert not raised(throttle_fraction=throttle, power_w=power)


def test_what_another_set_up_took_is_forgotten() -> None:
    alerts = AlertConditions(Profile(), cutoff_v=None)
    alerts.fold(settled(300, power_w=500.0))
    alerts.change_setup(300.0)
    later = settled(200, power_w=350.0, t_s=np.arange(301.0, 501.0))
    alerts.fold(later)
    assert "heat_limiting" not in {event.alert.code for event in alerts.events}


def test_it_looks_back_ten_minutes() -> None:
    watched = HeatLimit()
    hot = Minute(0.0, 600.0, 50.0, 1.8, 0.0, 0.5, math.nan)
    watched.limits(Minute(0.0, 800.0, 50.0, 2.0, 0.0, 0.5, math.nan))
    verdicts = [watched.limits(hot) for _ in range(61)]
    assert verdicts == [True] * 60 + [False]
