"""Double runs corrected for the water, against a known truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.efficiency.trial.water_change import Water, water
from tests.onboard.efficiency.trial.made_legs import EVERY_S, Runs, doubled, made_leg

ORDER_6, ORDER_3 = "abbaab", "abb"


def water_of(runs: Runs) -> Water:
    legs = runs.legs()
    return water(legs, doubled(legs, runs.legs_each), np.array([one.speed_mps for one in legs]))


# The equations of four runs in Tupper, Introduction to Naval Architecture, p. 244, with V = 2.00
# and a current 0.30 + 0.05 i + 0.01 i^2; the means worked out from them. The mean of the legs'
# Wh/km has no place here.
@pytest.mark.parametrize(("count", "mean_mps"), [(2, 1.970), (3, 2.005)])
def test_one_double_run_is_averaged_by_its_weights(count: int, mean_mps: float) -> None:
    speeds = (2.30, 1.64, 2.44)[:count]
    legs = [made_leg("a", n * EVERY_S, v, 180.0 * (n % 2)) for n, v in enumerate(speeds)]
    found = water(legs, doubled(legs, count), np.array(speeds))
    assert found.corrected_mps == pytest.approx([mean_mps], abs=1e-12)
    assert (found.freedom, found.changed) == (count - 2, False)


@pytest.mark.parametrize(
    ("order", "degree"), [("ab", 0), (ORDER_3, 1), ("abbaa", 1), (ORDER_6, 2), (ORDER_6 * 2, 2)]
)
def test_a_polynomial_current_is_removed_exactly(order: str, degree: int) -> None:
    now = Runs(order, water_mps=lambda t_s: 0.3 - 0.2 * (t_s / 1000.0) ** degree)
    assert water_of(now).corrected_mps == pytest.approx(
        [now.speed_mps[one] for one in order], abs=1e-9
    )


@settings(max_examples=40)
@given(st.tuples(*[st.floats(-0.3, 0.3)] * 3), st.floats(0.0, 360.0))
def test_any_quadratic_current_on_any_course(factors: tuple[float, ...], course: float) -> None:
    a, b, c = factors
    runs = Runs(
        ORDER_6,
        water_mps=lambda t_s: a + b * t_s / 1500.0 + c * (t_s / 1500.0) ** 2,
        course_deg=course,
    )
    found = water_of(runs)
    assert found.corrected_mps == pytest.approx([runs.speed_mps[n] for n in ORDER_6], abs=1e-9)
    assert found.residual_mps == pytest.approx(np.zeros(6), abs=1e-9)


def test_a_current_beyond_the_polynomial_is_not_hidden() -> None:
    found = water_of(Runs(ORDER_6, water_mps=lambda t_s: 0.3 * np.sin(t_s / 150.0)))
    assert found.leg_sd_mps is not None
    assert found.leg_sd_mps > 0.05
    assert found.restless
    calm = water_of(Runs(ORDER_6, water_mps=lambda t_s: 0.02 * np.sin(t_s / 150.0)))
    assert not calm.restless
    assert calm.covariance.diagonal().max() < 0.2 * found.covariance.diagonal().max()


def test_the_water_s_contribution_to_each_leg() -> None:
    found = water_of(Runs("abba", water_mps=lambda t_s: 0.2 + 0.1 * t_s / 1000.0))
    times = np.arange(8) * EVERY_S + 50.0
    expected = (0.2 + 0.1 * times / 1000.0) * np.array([1, -1] * 4)
    assert found.along_mps == pytest.approx(expected, abs=1e-9)
    assert found.change_mps == pytest.approx(0.1 * 7 * EVERY_S / 1000.0, abs=1e-9)


@pytest.mark.parametrize(("change_mps", "changed"), [(0.0, False), (0.02, False), (0.3, True)])
def test_whether_the_water_changed(change_mps: float, changed: bool) -> None:
    noise = 0.002 * np.array([1, -1, -1, 1, 1, 1, -1, -1])
    runs = Runs("abba", water_mps=lambda t_s: change_mps * t_s / 1080.0, noise=noise)
    assert water_of(runs).changed is changed


def test_a_change_within_the_scatter_does_not_count() -> None:
    noise = 0.03 * np.array([1, -1, 1, 1, -1, -1, 1, -1])
    runs = Runs("abba", water_mps=lambda t_s: 0.06 * t_s / 1080.0, noise=noise)
    found = water_of(runs)
    assert found.change_mps > 0.02 * 2.0
    assert not found.changed


def test_differences_between_double_runs_are_untouched() -> None:
    # A slow drift in all speeds, and still water: none of it is attributed to the water.
    noise = -0.01 * np.repeat(np.arange(6), 2)
    found = water_of(Runs(ORDER_6, speed_mps={"a": 2.0, "b": 2.0}, noise=noise))
    assert np.log(found.corrected_mps / 2.0) == pytest.approx(-0.01 * np.arange(6), abs=1e-9)


def test_each_outing_has_its_own_water() -> None:
    first = Runs("abb", water_mps=lambda t_s: 0.3 + 1e-4 * t_s).legs(outing=0)
    second = Runs("aba", water_mps=lambda t_s: -0.4 + 2e-4 * t_s).legs(outing=1)
    legs = first + second
    found = water(legs, doubled(legs), np.array([one.speed_mps for one in legs]))
    assert found.corrected_mps == pytest.approx([2.0, 1.9, 1.9, 2.0, 1.9, 2.0], abs=1e-9)


def test_few_legs_that_agree_by_chance_do_not_make_the_water_sure() -> None:
    # Three double runs, a leg every 140 s; time scaled by half of 700 s. By hand: their differences
    # give the slope at 0, 1.6, 3.2 with twice a leg's variance, 2 / (2 x 1.6^2) of it, and a double
    # run takes 0.2 of the slope: 1/64. A leg is guessed to repeat to 1 %, for two degrees of
    # freedom, beside the one that says nothing.
    found = water_of(Runs("abb"))
    assert found.freedom == 1
    leg = 2.0 * (0.01 * (2.0 + 1.9 + 1.9) / 3.0) ** 2 / 3.0
    assert found.covariance.diagonal() == pytest.approx(np.full(3, leg / 64.0), rel=1e-6)
