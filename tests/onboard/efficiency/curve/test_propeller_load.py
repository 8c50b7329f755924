"""The load of the propeller, against the Wageningen B-series (tests/data/README.md)."""

import math

import pytest

from onboard.efficiency.alert_practice import LOAD_EXCESS_FRACTION, LOAD_LASTS_S
from onboard.efficiency.curve.propeller_load import CANNOT_TELL, PropellerLoad, load_excess
from onboard.efficiency.sources.minutes import EVERY_S, Minute
from tests.craft.crafts import CRAFTS
from tests.craft.propeller import Propeller, torque_and_slope

LEAST = math.log1p(LOAD_EXCESS_FRACTION)


def shaft_w(propeller: Propeller, turns: float, speed_mps: float, more: float = 0.0) -> float:
    advance_mps = speed_mps * (1.0 - propeller.wake_fraction)
    torque_nm, _ = torque_and_slope(propeller, turns, advance_mps, 1025.0)
    return 2.0 * math.pi * turns * torque_nm * (1.0 + more)


def minute(t_s=0.0, *, power_w=500.0, turns=math.nan, speed=2.0, throttle=math.nan, volts=50.0):
    return Minute(t_s, power_w, volts, speed, 0.0, throttle, 60.0 * turns)


@pytest.mark.parametrize("name", sorted(CRAFTS))
@pytest.mark.parametrize("slower", [0.0, 0.1, 0.2, 0.3])
@pytest.mark.parametrize("revs", [0.9, 1.0, 1.1])
def test_a_head_wind_and_another_throttle_are_no_load(
    name: str, slower: float, revs: float
) -> None:
    # From near the best efficiency on, the advance per turn falls.
    (
        propeller,
        speed,
    ) = CRAFTS[name].propeller, 2.0
    turns = speed / (0.75 * propeller.pitch_ratio * propeller.diameter_m)
    braked = speed * (1.0 - slower) * min(revs, 1.0)
    was = minute(power_w=shaft_w(propeller, turns, speed), turns=turns, speed=speed)
    power_w = shaft_w(propeller, turns * revs, braked)
    now = minute(power_w=power_w, turns=turns * revs, speed=braked)
    assert load_excess(was, now) < LEAST


@pytest.mark.parametrize("name", sorted(CRAFTS))
@pytest.mark.parametrize("more", [0.15, 0.3, 0.6])
@pytest.mark.parametrize("held", ["power", "torque", "revs"])
def test_weed_shows_whatever_is_held(name: str, more: float, held: str) -> None:
    propeller, speed = CRAFTS[name].propeller, 2.0
    turns = speed / (0.6 * propeller.pitch_ratio * propeller.diameter_m)
    was = minute(power_w=shaft_w(propeller, turns, speed), turns=turns, speed=speed)
    slower = {"power": 1 / 3, "torque": 1 / 2, "revs": 0.0}[held]
    share = (1.0 + more) ** -slower
    # The craft settles to its revs.
    power_w = shaft_w(propeller, turns * share, speed * share, more)
    now = minute(power_w=power_w, turns=turns * share, speed=speed * share)
    assert load_excess(was, now) == pytest.approx(math.log1p(more), abs=0.01)
    assert load_excess(was, now) > LEAST


@pytest.mark.parametrize("exponent", [1.0, 1.5, 3.0, 5.0])
@pytest.mark.parametrize("change", [-0.2, -0.1, -0.03, 0.03, 0.1, 0.3])
def test_moving_the_throttle_of_any_drive_is_no_load(exponent: float, change: float) -> None:
    # A power, a current, a duty, and a duty behind a bent throttle curve.
    ratio = 1.0 + change
    was = minute(power_w=500.0, throttle=0.5)
    now = minute(power_w=500.0 * ratio**exponent, throttle=0.5 * ratio, speed=2.0 * min(ratio, 1.0))
    assert load_excess(was, now) <= LEAST


def test_more_power_at_a_held_duty_is_a_load_without_revs() -> None:
    was = minute(power_w=500.0, throttle=0.5)
    assert load_excess(was, minute(power_w=650.0, throttle=0.5, volts=49.5)) > LEAST
    # A rider who holds the power eases the throttle.
    assert load_excess(was, minute(power_w=500.0, throttle=0.45, speed=1.85)) > LEAST
    # The same at a higher speed is a wind or a wave from astern, or another throttle curve.
    assert load_excess(was, minute(power_w=650.0, throttle=0.5, speed=2.1)) == CANNOT_TELL


@pytest.mark.parametrize("volts", [48.0, 45.0])
def test_a_pack_that_sags_at_a_held_current_or_power_is_no_load(volts: float) -> None:
    # The drive keeps the motor's current up, whatever the pack's voltage is.
    was = minute(power_w=500.0, throttle=0.8)
    assert load_excess(was, minute(power_w=505.0, throttle=0.8, volts=volts, speed=1.99)) < LEAST


def test_neither_revs_nor_throttle_tell_nothing() -> None:
    assert load_excess(minute(), minute(power_w=900.0)) == CANNOT_TELL
    assert load_excess(minute(turns=10.0), minute(turns=20.0, power_w=9000.0)) == CANNOT_TELL


def folded(load: PropellerLoad, count: int, begin_s: float, **columns) -> list[bool]:
    states = []
    for number in range(count):
        load.fold(minute(begin_s + EVERY_S * number, **columns))
        states.append(load.fouled)
    return states


def test_it_holds_half_a_minute_before_it_counts_and_until_it_has_halved() -> None:
    load = PropellerLoad()
    assert not any(folded(load, 12, 0.0, turns=10.0))
    states = folded(load, 12, 120.0, turns=10.0, power_w=600.0)
    assert states == [False] * 3 + [True] * 9
    assert load.excess_fraction == pytest.approx(0.2)
    assert folded(load, 1, 240.0, turns=10.0, power_w=530.0) == [True]
    # What cannot be compared does not end it, on whatever course.
    assert folded(load, 1, 250.0, turns=20.0, power_w=5000.0) == [True]
    assert folded(load, 3, 260.0, turns=10.0, power_w=515.0) == [False] * 3


def test_a_gust_is_over_before_it_counts() -> None:
    load = PropellerLoad()
    folded(load, 12, 0.0, turns=10.0)
    assert not any(folded(load, 3, 120.0, turns=10.0, power_w=600.0))
    assert not any(folded(load, 3, 150.0, turns=10.0))
    assert not any(folded(load, 3, 180.0, turns=10.0, power_w=600.0))


def test_a_lasting_load_is_a_changed_craft() -> None:
    load = PropellerLoad()
    folded(load, 12, 0.0, turns=10.0)
    states = folded(load, 200, 120.0, turns=10.0, power_w=600.0)
    assert states.index(True) == 3
    assert 120.0 + EVERY_S * states.index(False, 4) == pytest.approx(120.0 + LOAD_LASTS_S)
    assert not any(states[states.index(False, 4) :])
