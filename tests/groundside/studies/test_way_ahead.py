"""What a way takes, leg by leg, against sums by hand."""

import numpy as np
import pytest

from groundside.studies.leg import Leg
from groundside.studies.way_ahead import Way, cost

THROUGH, POWER = np.array([2.0]), np.array([170.0])
AIR = 0.5 * 1.225 * 0.7
"""Half the density of air [kg/m^3] times the assumed windage [m^2]."""


def test_the_legs_add_up_each_in_its_own_water() -> None:
    # 3 km against 0.5 m/s at 1.5 m/s over ground, 1 km with 0.5 m/s at 2.5 m/s.
    whole = cost(Way((Leg(3000.0, 0.5), Leg(1000.0, -0.5))), THROUGH, POWER)
    assert whole.time_s[0] == pytest.approx(2000.0 + 400.0)
    assert whole.energy_wh[0] == pytest.approx(170.0 * 2400.0 / 3600.0)
    back = cost(Way((Leg(3000.0, 0.5), Leg(1000.0, -0.5)), there_and_back=True), THROUGH, POWER)
    assert back.time_s[0] == pytest.approx(2400.0 + 1200.0 + 1000.0 / 1.5)


def test_a_leg_against_faster_water_makes_no_way() -> None:
    whole = cost(Way((Leg(100.0), Leg(100.0, 1.5))), np.array([1.0, 1.54, 1.56]), np.ones(3))
    assert whole.made.tolist() == [False, False, True]


@pytest.mark.parametrize(
    ("headwind_mps", "drag_n"),
    [
        # (W + v) |W + v| - v |v| at v = 2 m/s.
        (5.0, AIR * (49.0 - 4.0)),
        (-1.0, AIR * (1.0 - 4.0)),
        (-5.0, AIR * (-9.0 - 4.0)),
        (0.0, 0.0),
    ],
)
def test_a_stated_wind_costs_its_drag(headwind_mps: float, drag_n: float) -> None:
    # 45 % of the power moves the craft, at 2 m/s through the water.
    whole = cost(Way((Leg(1000.0, None, headwind_mps),)), THROUGH, POWER)
    assert whole.energy_wh[0] == pytest.approx((170.0 + drag_n * 2.0 / 0.45) * 500.0 / 3600.0)


def test_a_gale_from_astern_does_not_drive_the_craft_for_nothing() -> None:
    whole = cost(Way((Leg(1000.0, None, -20.0),)), THROUGH, POWER)
    assert whole.energy_wh[0] == pytest.approx(0.3 * 170.0 * 500.0 / 3600.0)


def test_what_the_wind_leaves_uncertain() -> None:
    # Not stated: 2.8 m/s along the course, 2 AIR v w / 0.45 watts for each m/s.
    slope = 2.0 * AIR * 2.0 * 2.0 / 0.45 / 170.0
    (unknown,) = cost(Way((Leg(1000.0),)), THROUGH, POWER).wind_sd_fraction
    assert unknown == pytest.approx(2.8 * slope)
    # There and back it cancels to first order, in water at rest.
    (both,) = cost(Way((Leg(1000.0),), there_and_back=True), THROUGH, POWER).wind_sd_fraction
    assert both == pytest.approx(0.0, abs=1e-12)
    # A calm that was stated is one to within 1 m/s; of a stated wind, the windage is a guess.
    (calm,) = cost(Way((Leg(1000.0, None, 0.0),)), THROUGH, POWER).wind_sd_fraction
    assert calm == pytest.approx(slope)
    (stated,) = cost(Way((Leg(1000.0, None, 5.0),)), THROUGH, POWER).wind_sd_fraction
    extra_w = AIR * 45.0 * 2.0 / 0.45
    by_wind = 2.0 * AIR * 7.0 * 2.0 / 0.45
    assert stated == pytest.approx(np.hypot(by_wind, 0.4 * extra_w) / (170.0 + extra_w))


def test_an_extra_load_counts_for_the_water_alone() -> None:
    way = Way((Leg(1000.0, None, 5.0),), power_factor=1.1)
    plain = cost(Way((Leg(1000.0, None, 5.0),)), THROUGH, POWER)
    more_wh = cost(way, THROUGH, POWER).energy_wh[0] - plain.energy_wh[0]
    assert more_wh == pytest.approx(17.0 * 500.0 / 3600.0)
