"""Set-ups at the speed one rides, against arithmetic by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.curve.joint_fit import fit
from onboard.efficiency.curve.speed_power import knot_weights
from onboard.efficiency.curve.steady import SteadyBlock
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.cruise import SLOPE_WALK, OwnCurve, SetupCruise, cruise_at
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison
from tests.onboard.efficiency.trial.made_legs import Runs

THIRD = CurveSlope(1.0 / 3.0, 0.0, True)
Z_95 = 1.959964


def compared(
    order: str = "abba", slope: CurveSlope = THIRD, shared: float = 0.0, **runs
) -> Comparison:
    found = compare(Runs(order, slope=slope.value, **runs).legs(), 400.0, slope, shared)
    assert not isinstance(found, Unknown)
    return found


def rows(speed_mps: float, found: Comparison) -> tuple[SetupCruise, ...]:
    return cruise_at(speed_mps, found, {}).setups


def of(figure) -> Figure:
    assert isinstance(figure, Figure)
    assert figure.low is not None
    assert figure.high is not None
    return figure


def sd_of(figure) -> float:
    """Return the relative standard deviation of which the normal interval is as wide."""
    known = of(figure)
    return math.log(known.high / known.low) / 2.0 / Z_95  # type: ignore[operator]


def test_power_goes_with_the_cube_of_speed_where_the_slope_is_a_third() -> None:
    a, b = rows(1.8, compared())
    # 400 W x 0.9^3 = 291.6 W at 1.8 m/s: 291.6 / 3.6 / 1.8 = 45 Wh/km.
    assert of(a.wh_per_km).value == pytest.approx(45.0, rel=1e-6)
    # b makes 1.9 m/s at 400 W: 45 Wh/km x (2 / 1.9)^3.
    assert of(b.wh_per_km).value == pytest.approx(45.0 * (2.0 / 1.9) ** 3, rel=1e-6)
    assert of(b.behind_fraction).value == pytest.approx((2.0 / 1.9) ** 3 - 1.0, rel=1e-6)
    assert a.behind_fraction == Figure(0.0)


def test_at_the_speed_it_was_run_a_set_up_takes_the_power_it_was_run_at() -> None:
    # b at 440 W: 1.9 m/s x 1.1^(1/3).
    powers = [400.0] * 2 + [440.0] * 4 + [400.0] * 2
    found = compared(power_w=powers)
    speed = 1.9 * 1.1 ** (1.0 / 3.0)
    assert of(rows(speed, found)[1].wh_per_km).value == pytest.approx(440.0 / 3.6 / speed, rel=1e-6)


def test_the_interval_is_that_of_the_delta_method() -> None:
    slope = CurveSlope(0.28, 0.08, False)
    found = compared(slope=slope)
    (a, _) = rows(1.8, found)
    way = math.log(0.9) / 0.28
    of_speed = sd_of(found.setups[0].speed_mps)
    of_slope = math.sqrt(0.08**2 + SLOPE_WALK * abs(way) / 3.0)
    by_hand = math.hypot(of_speed / 0.28, math.log(0.9) / 0.28**2 * of_slope)
    assert a.sd_fraction == pytest.approx(by_hand, rel=1e-6)
    assert sd_of(a.wh_per_km) == pytest.approx(by_hand, rel=1e-6)


def test_the_slope_counts_for_nothing_at_the_speed_run_whatever_power_is_compared_at() -> None:
    slope = CurveSlope(0.28, 0.08, False)
    off = compared(slope=slope, power_w=[300.0] * 8)
    known = compared(slope=replace(slope, sd=0.0), power_w=[300.0] * 8)
    speed = 2.0 * 0.75**0.28
    one, other = rows(speed, off)[0], rows(speed, known)[0]
    # 10 % of slack: the interval that the slope's share is taken from is one of Student's t.
    assert one.sd_fraction == pytest.approx(other.sd_fraction, rel=0.1)


def test_the_sensors_gain_is_in_the_consumption_and_in_no_difference() -> None:
    alone, shared = rows(1.8, compared()), rows(1.8, compared(shared=0.05))
    assert sd_of(shared[0].wh_per_km) == pytest.approx(
        math.hypot(sd_of(alone[0].wh_per_km), 0.05), rel=1e-6
    )
    assert shared[1].behind_fraction == alone[1].behind_fraction
    assert shared[1].sd_fraction == alone[1].sd_fraction


def test_a_difference_does_not_widen_by_the_slope_of_the_way_both_went() -> None:
    slope = CurveSlope(0.28, 0.08, False)
    found = compared("abbaabba", slope)
    a, b = rows(1.5, found)
    more = of(b.behind_fraction)
    sd = math.log((1.0 + more.high) / (1.0 + more.low)) / 2.0 / Z_95  # type: ignore[operator]
    apart = math.log(2.0 / 1.9)
    there = of(found.places[1].behind_fraction)
    of_levels = math.log((1.0 + there.high) / (1.0 + there.low)) / 2.0 / Z_95  # type: ignore[operator]
    local = math.sqrt(0.08**2 + SLOPE_WALK * abs(math.log(0.75) / 0.28))
    assert sd == pytest.approx(math.hypot(of_levels, apart / 0.28 * local) / 0.28, rel=1e-6)
    assert sd < 0.5 * math.hypot(a.sd_fraction, b.sd_fraction)


@pytest.mark.parametrize(("speed_mps", "known"), [(1.42, True), (1.38, False), (2.62, False)])
def test_more_than_thirty_per_cent_from_the_speed_run_nothing_is_known(
    speed_mps: float, known: bool
) -> None:
    a, _ = rows(speed_mps, compared())
    assert isinstance(a.wh_per_km, Figure) == known
    if not known:
        assert a.wh_per_km == Unknown(Reason.NOT_LEARNED_THERE)
        assert math.isnan(a.sd_fraction)


def test_what_is_not_known_of_a_set_up_says_why() -> None:
    # 1.35 m/s is within 30 % of b, 1.9 m/s, and not of a, 2 m/s.
    a, b = rows(1.35, compared())
    assert isinstance(a.wh_per_km, Unknown)
    assert isinstance(b.wh_per_km, Figure)
    assert b.behind_fraction == Unknown(Reason.NOT_LEARNED_THERE)


def ridden(exponent: float, powers=(150.0, 200.0, 270.0, 360.0)) -> OwnCurve:
    """Return the curve of a set-up that makes 2 m/s at 400 W, ridden there and back."""
    found = []
    for n, power in enumerate(powers * 8):
        speed = 2.0 * (power / 400.0) ** exponent
        sign = -1.0 if n // len(powers) % 2 else 1.0
        found.append(SteadyBlock(20.0 * n, power, 0.01 * power, sign * speed, 0.0))
    return OwnCurve(fit(found, []), np.array([one.power_w for one in found]))


def usual() -> Comparison:
    return compared(slope=CurveSlope(0.28, 0.08, False))


def test_its_own_curve_counts_where_it_was_ridden() -> None:
    # Unlike the usual slope: a quarter. 1.6 m/s takes 400 x 0.8^4 = 163.84 W.
    found = usual()
    a, b = cruise_at(1.6, found, {"a": ridden(0.25)}).setups
    assert (a.by_own_curve, b.by_own_curve) == (True, False)
    cost = of(a.wh_per_km)
    assert cost.value == pytest.approx(163.84 / 3.6 / 1.6, rel=0.02)
    assert cost.low < 163.84 / 3.6 / 1.6 < cost.high  # type: ignore[operator]
    assert a.sd_fraction < rows(1.6, found)[0].sd_fraction
    # A difference between a curve and a slope: their errors are independent.
    more = of(b.behind_fraction)
    sd = math.log((1.0 + more.high) / (1.0 + more.low)) / 2.0 / Z_95  # type: ignore[operator]
    assert sd == pytest.approx(math.hypot(a.sd_fraction, b.sd_fraction), rel=1e-6)


@pytest.mark.parametrize(
    ("power_w", "own"),
    [(150.0, True), (131.0, True), (121.0, False), (300.0, True), (320.0, False)],
)
def test_a_curve_counts_near_the_powers_ridden_and_apart_from_the_runs(
    power_w: float, own: bool
) -> None:
    speed = 2.0 * (power_w / 400.0) ** 0.25
    assert cruise_at(speed, usual(), {"a": ridden(0.25)}).setups[0].by_own_curve == own


def test_about_the_power_run_its_own_curve_tells_nothing_more() -> None:
    """Found: read off single stretches at one power, intervals held in 12 to 84 of 100 days."""
    one_power = ridden(0.4, (385.0, 395.0, 405.0, 415.0))
    for speed in (1.8, 1.9, 1.98, 2.02, 2.1, 2.2):
        assert not cruise_at(speed, usual(), {"a": one_power}).setups[0].by_own_curve


def test_a_curve_against_speed_over_ground_does_not_count() -> None:
    own = ridden(0.25)
    over_ground = replace(own, curve=replace(own.curve, course_variance=1.0))
    assert not cruise_at(1.6, usual(), {"a": over_ground}).setups[0].by_own_curve


def test_a_curve_s_interval_holds_the_way_along_it_and_what_makes_runs_differ() -> None:
    own, found = ridden(0.25), usual()
    (a, _) = cruise_at(1.6, found, {"a": own}).setups
    slopes = knot_weights(np.log([163.84])) - knot_weights(np.log([400.0]))
    of_way = float((slopes @ own.curve.covariance[2:, 2:] @ slopes.T)[0, 0])
    of_runs = sd_of(found.setups[0].speed_mps)
    by_hand = math.sqrt(of_way + of_runs**2 + 0.005**2 + 0.012**2) / 0.25
    assert a.sd_fraction == pytest.approx(by_hand, rel=0.05)


def test_water_across_the_courses_that_raises_a_curve_does_not_count() -> None:
    """Found: water across of 0.8 m/s, made of nothing, raised a curve by 7 %."""
    own = ridden(0.25)
    raised = replace(own, curve=replace(own.curve, ln_speed=own.curve.ln_speed + 0.07))
    a, b = (cruise_at(1.6, usual(), {"a": one}).setups[0] for one in (own, raised))
    assert of(b.wh_per_km).value == pytest.approx(of(a.wh_per_km).value, rel=1e-9)


def test_intervals_hold_where_slopes_are_as_uncertain_as_stated() -> None:
    rng, held, behind_held, count = np.random.default_rng(3), 0, 0, 400
    for _ in range(count):
        slope = 0.28 + 0.04 * rng.standard_normal()
        noise = np.repeat(0.012 * rng.standard_normal(8), 2).tolist()
        made = Runs("abbaabba", slope=slope, noise=noise).legs()
        found = compare(made, 400.0, CurveSlope(0.28, 0.04, False), 0.0)
        assert not isinstance(found, Unknown)
        for one in rows(1.7, found):
            truth = 400.0 * (1.7 / {"a": 2.0, "b": 1.9}[one.name]) ** (1.0 / slope) / 3.6 / 1.7
            cost = of(one.wh_per_km)
            held += cost.low < truth < cost.high  # type: ignore[operator]
        (last,) = (one for one in rows(1.7, found) if one.behind_fraction != Figure(0.0))
        apart = 2.0 / 1.9 if last.name == "b" else 1.9 / 2.0
        more = of(last.behind_fraction)
        behind_held += more.low < apart ** (1.0 / slope) - 1.0 < more.high  # type: ignore[operator]
    assert 0.92 < held / (2 * count) < 0.995
    # The slope is allowed to change on the way; here it does not.
    assert behind_held / count > 0.93
