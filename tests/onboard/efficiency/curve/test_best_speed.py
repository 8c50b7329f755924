"""Best speed against algebra: several laws of power, with and against water currents."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.curve.best_speed import BestSpeed, best_speed, best_speed_on_course
from onboard.efficiency.curve.joint_fit import fit
from onboard.efficiency.curve.speed_power import KNOTS, Posterior
from tests.onboard.efficiency.curve.made_blocks import cubic, ride


def found(power_at, along_mps=0.0, across_mps=0.0, most_mps=8.0) -> BestSpeed:
    result = best_speed(power_at, 0.05, most_mps, along_mps, across_mps)
    assert isinstance(result, BestSpeed)
    return result


# P = P0 + c v^3 against a head current u: 2 c v^3 - 3 c u v^2 - P0 = 0. P0, c, u, then v and Wh/km.
CUBICS = [
    (10, 20, 0.0, 0.629961, 6.61417),
    (10, 20, 0.5, 1.0, 16.66667),
    (10, 20, 1.0, 1.597912, 42.55536),
    (10, 20, -0.5, 0.455410, 3.45664),
    (30, 15, 0.3, 1.174691, 17.24873),
    (5, 25, 0.8, 1.262717, 33.21781),
    (0, 20, 1.0, 1.5, 37.5),
]


@pytest.mark.parametrize(("rest", "factor", "head", "speed", "cost"), CUBICS)
def test_hotel_load_and_cube(rest, factor, head, speed, cost) -> None:
    best = found(lambda v: rest + factor * v**3, along_mps=-head)
    assert best.through_water_mps == pytest.approx(speed, abs=2e-4)
    assert best.over_ground_mps == pytest.approx(speed - head, abs=2e-4)
    assert best.wh_per_km == pytest.approx(cost, rel=2e-6)
    assert not best.at_limit
    root = max(np.roots([2 * factor, -3 * factor * head, 0, -rest]).real)
    assert best.through_water_mps == pytest.approx(root, abs=2e-4)


@pytest.mark.parametrize("exponent", [2.0, 3.0, 4.0, 7.5])
def test_any_power_law_against_a_current(exponent: float) -> None:
    # v = n u / (n - 1): for n = 3 half as fast again as the current, for n = 4 a third.
    best = found(lambda v: 12 * v**exponent, along_mps=-0.8)
    assert best.through_water_mps == pytest.approx(exponent * 0.8 / (exponent - 1), abs=2e-4)


@pytest.mark.parametrize("exponent", [3.0, 4.0, 6.0])
def test_the_share_of_the_hotel_load_at_the_best_speed(exponent: float) -> None:
    # Still water: P0 = (n - 1) c v^n, so it is (n - 1)/n of all.
    best = found(lambda v: 25 + 9 * v**exponent)
    share = 25 / (25 + 9 * best.through_water_mps**exponent)
    assert share == pytest.approx((exponent - 1) / exponent, abs=1e-3)


@pytest.mark.parametrize("head", [0.0, 0.4, 1.1])
def test_an_exponential_law_asks_for_one_speed_over_ground(head: float) -> None:
    # E = a e^(b v): v = u + 1/b whatever the current (Trump and Leggett 1980, on fish in currents).
    best = found(lambda v: 5 * np.exp(1.3 * v), along_mps=-head)
    assert best.over_ground_mps == pytest.approx(1 / 1.3, abs=2e-4)


def test_the_faster_the_head_current_the_faster_over_ground() -> None:
    # As observed of roach that migrate against a current (Brodersen et al. 2008).
    made = [found(lambda v: 20 * v**3, along_mps=-u).over_ground_mps for u in (0.2, 0.5, 0.9, 1.3)]
    assert np.all(np.diff(made) > 0)


@pytest.mark.parametrize(
    ("x", "ratio"), [(0.8, 1.04667), (0.9, 1.01074), (1.1, 1.00939), (1.2, 1.03556), (1.5, 1.19444)]
)
def test_how_flat_the_best_is(x: float, ratio: float) -> None:
    # E / E* = (2/x + x^2) / 3 in still water.
    def law(v):
        return 10 + 20 * v**3

    best = found(law)
    speed = x * best.through_water_mps
    assert law(speed) / speed / 3.6 / best.wh_per_km == pytest.approx(ratio, abs=1e-5)


def test_the_steamer_of_the_textbooks() -> None:
    # 0.3 + 0.001 v^3 tons of coal an hour, v in km/h: least a kilometre at 150^(1/3) = 5.313.
    best = found(lambda v: 0.3 + 0.001 * v**3, most_mps=20.0)
    assert best.through_water_mps == pytest.approx(150 ** (1 / 3), abs=1e-3)


@given(st.floats(0.0, 1.5), st.floats(-1.0, 1.0))
def test_a_current_across_costs_as_by_the_velocity_triangle(across: float, along: float) -> None:
    best = found(lambda v: 10 + 20 * v**3, along, across)
    left = math.sqrt(max(best.through_water_mps**2 - across**2, 0.0))
    assert best.over_ground_mps == pytest.approx(along + left, abs=1e-9)
    grid = np.linspace(max(abs(across), 0.05) + 1e-6, 8, 20_000)
    way = along + np.sqrt(grid**2 - across**2)
    cost = np.where(way > 0.02, (10 + 20 * grid**3) / np.maximum(way, 1e-3), np.inf)
    assert best.wh_per_km <= cost.min() / 3.6 * (1 + 1e-5)


def test_of_two_minima_the_lower_counts() -> None:
    # A hull over its hump may go further fast than slowly.
    def law(v):
        return v * (3.0 + 0.3 * (v - 1.0) ** 2 * (v - 4.0) ** 2 - 0.2 * v)

    best = found(law, most_mps=5.5)
    assert best.through_water_mps == pytest.approx(4.0, abs=0.1)


def test_no_speed_makes_progress() -> None:
    result = best_speed(lambda v: 10 + 20 * v**3, 0.3, 2.0, along_mps=-2.5)
    assert isinstance(result, Unknown)
    assert result == Unknown(Reason.NO_PROGRESS)
    assert isinstance(best_speed(lambda v: v, 0.3, 2.0, across_mps=2.5), Unknown)


def test_a_best_speed_at_an_end_of_the_span_is_flagged() -> None:
    assert found(lambda v: 10 + 20 * v**3, most_mps=0.4).at_limit


def test_a_learned_curve_gives_the_best_speed_with_an_interval() -> None:
    # P = 14 + 18 v^3 against 0.3 m/s: 36 v^3 - 16.2 v^2 - 14 = 0, less the current.
    true_mps = max(np.roots([36, -16.2, 0, -14]).real) - 0.3
    inside, widths = 0, []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        plan = [(k * 120 + 5, power, 4) for power in (20, 32, 60, 120) for k in range(3)]
        known = fit(ride(rng, cubic, plan, (0.0, -0.3), speed_sd=0.02), [])
        best = best_speed_on_course(known, 0.0)
        assert isinstance(best, Figure)
        assert best.low is not None and best.high is not None
        inside += best.low <= true_mps <= best.high
        widths.append(best.high - best.low)
    assert inside >= 34
    assert np.median(widths) < 0.4


@pytest.mark.parametrize(("course_deg", "along", "across"), [(45, 1, 0), (135, 0, 1), (225, -1, 0)])
def test_the_water_is_taken_along_and_across_the_course(course_deg, along, across) -> None:
    # Water towards NE: on NE it is all along, on SE all across, on SW all against.
    drift = 0.3 * math.sqrt(2.0)
    ln_speed = (KNOTS - np.log(20.0)) / 3.0
    none = np.zeros((2 + len(KNOTS), 2 + len(KNOTS)))
    known = Posterior(np.array([0.3, 0.3]), ln_speed, none, (0.5, 3.0), 20, 0.02, 1e-4)
    found = best_speed_on_course(known, float(course_deg))
    by_hand = best_speed(
        lambda v: 20.0 * v**3, 0.5, 3.0, along_mps=along * drift, across_mps=across * drift
    )
    assert found.value == pytest.approx(by_hand.over_ground_mps, abs=1e-3)


def test_no_progress_on_a_course_against_the_water_learned() -> None:
    plan = [(k * 120, power, 4) for power in (15, 20) for k in range(3)]
    known = fit(ride(np.random.default_rng(1), cubic, plan, (0.0, 0.0)), [])
    held = type(known)(**{**vars(known), "water_mps": np.array([0.0, -2.0])})
    assert isinstance(best_speed_on_course(held, 0.0), Unknown)
