"""Bringing runs to the same power."""

import math

import numpy as np
import pytest

from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.equal_power import (
    SLOPE,
    SLOPE_SD,
    at_power,
    curves_of,
    reference_power_w,
    slope_at,
)
from tests.onboard.efficiency.trial.made_legs import made_leg


# Cube rule, V_ref = V (P_ref / P)^(1/3): 1 % of power is 0.332 % of speed, 2 % 0.662 % (algebra).
@pytest.mark.parametrize(("more", "speed_fraction"), [(0.01, 0.00332), (0.02, 0.00662)])
def test_the_cube_is_one_slope_of_many(more: float, speed_fraction: float) -> None:
    leg, through = made_leg(power_w=400.0), np.array([2.0])
    cube = at_power([leg], through, 400.0 * (1.0 + more), 1.0 / 3.0)
    assert cube / 2.0 - 1.0 == pytest.approx([speed_fraction], abs=5e-6)
    other = at_power([leg], through, 400.0 * (1.0 + more), 0.2)
    assert other / 2.0 - 1.0 == pytest.approx([(1.0 + more) ** 0.2 - 1.0], abs=1e-12)


def test_only_what_goes_through_the_water_changes_with_power() -> None:
    # 2 m/s through the water with 0.5 m/s of current, there and back.
    legs = [made_leg(speed_mps=2.5), made_leg(speed_mps=1.5, course_deg=180.0)]
    found = at_power(legs, np.array([2.0, 2.0]), 440.0, 0.3)
    gained = 2.0 * (1.1**0.3 - 1.0)
    assert found - [2.5, 1.5] == pytest.approx([gained, gained])


def test_the_power_to_compare_at_does_not_depend_on_how_often_each_was_run() -> None:
    legs = [made_leg("a", power_w=400.0)] * 6 + [made_leg("b", power_w=420.0)] * 2
    assert reference_power_w(legs) == pytest.approx(math.sqrt(400.0 * 420.0))


def blocks(slope: float, faster: float = 1.0, powers=(250.0, 320.0, 400.0, 500.0, 630.0)):
    found = []
    for n, power in enumerate(powers * 4):
        speed = faster * 2.0 * (power / 400.0) ** slope
        sign = -1.0 if n % 2 else 1.0
        found.append(SteadyBlock(20.0 * n, power, 0.01 * power, sign * speed, 0.0))
    return found


@pytest.mark.parametrize("slope", [0.18, 0.33])
def test_the_craft_s_own_curve_gives_the_slope(slope: float) -> None:
    found = slope_at(400.0, curves_of({"a": blocks(slope), "b": blocks(slope, 0.9)}).values())
    assert found.learned
    assert found.sd < SLOPE_SD / 2.0
    assert found.value == pytest.approx(slope, abs=2.0 * found.sd)
    assert abs(found.value - slope) < abs(found.value - SLOPE)


def test_a_difference_between_set_ups_is_not_taken_for_a_slope() -> None:
    # b was run at more power and is slower: one curve through both would fall.
    some = {
        "a": blocks(0.28, 1.0, (380.0, 385.0, 390.0, 395.0, 400.0)),
        "b": blocks(0.28, 0.8, (420.0, 425.0, 430.0, 435.0, 440.0)),
    }
    assert slope_at(410.0, curves_of(some).values()).value == pytest.approx(0.28, abs=0.08)


def test_without_a_curve_the_prior_counts() -> None:
    found = slope_at(400.0, curves_of({"a": []}).values())
    assert (found.value, found.sd, found.learned) == (SLOPE, pytest.approx(SLOPE_SD), False)
