"""Pairing of legs, and the weights of runs to and fro."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial import Polynomial

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.double_runs import binomial_weights, double_runs
from onboard.efficiency.trial.leg import Leg
from tests.onboard.efficiency.trial.made_legs import made_leg

# V = 2.00 and a current 0.30 + 0.05 i + 0.01 i^2: the equations for four runs in Tupper,
# Introduction to Naval Architecture, p. 244; the means computed from them.
FOUR_RUNS = (2.30, 1.64, 2.44, 1.46)


@pytest.mark.parametrize(("count", "mean_mps"), [(2, 1.970), (3, 2.005), (4, 2.000)])
def test_means_of_runs_in_a_changing_current(count: int, mean_mps: float) -> None:
    assert binomial_weights(count) @ FOUR_RUNS[:count] == pytest.approx(mean_mps, abs=1e-12)


# Computed from the same equations; sqrt of the sum of squared weights is the noise of the mean.
@pytest.mark.parametrize(
    ("count", "weights", "noise"),
    [
        (1, (1,), 1.0),
        (2, (1, 1), 0.7071),
        (3, (1, 2, 1), 0.6124),
        (4, (1, 3, 3, 1), 0.5590),
        (5, (1, 4, 6, 4, 1), None),
        (6, (1, 5, 10, 10, 5, 1), None),
    ],
)
def test_weights(count: int, weights: tuple[int, ...], noise: float | None) -> None:
    found = binomial_weights(count)
    assert (found * sum(weights)).tolist() == list(weights)
    if noise is not None:
        assert math.sqrt(float(found @ found)) == pytest.approx(noise, abs=5e-5)


@given(st.integers(2, 10), st.lists(st.floats(-1.0, 1.0), min_size=9, max_size=9))
def test_a_current_of_lower_degree_is_removed(count: int, factors: list[float]) -> None:
    current = Polynomial(factors[: count - 1])(np.linspace(-1.0, 1.0, count))
    runs = 2.0 + current * (-1.0) ** np.arange(count)
    assert binomial_weights(count) @ runs == pytest.approx(2.0, abs=1e-9)


# A tide of 12.42 h and 0.5 m/s: the worst error over its phase, computed independently.
@pytest.mark.parametrize(
    ("count", "apart_min", "worst_mps"),
    [
        *((2, 5, 0.0105), (3, 5, 0.0002), (2, 15, 0.0316), (3, 15, 0.0020), (4, 15, 0.0001)),
        *((2, 30, 0.0631), (3, 30, 0.0080), (4, 30, 0.0010)),
    ],
)
def test_the_remainder_of_a_tide(count: int, apart_min: float, worst_mps: float) -> None:
    phases = np.linspace(0.0, 2.0 * np.pi, 2000)[:, None]
    turns = 2.0 * np.pi / (12.42 * 60.0) * apart_min * np.arange(count)
    left = (0.5 * np.sin(phases + turns) * (-1.0) ** np.arange(count)) @ binomial_weights(count)
    assert np.abs(left).max() == pytest.approx(worst_mps, abs=5e-5)


def legs_of(*some: tuple[str, float], every_s: float = 140.0, **more: float) -> list[Leg]:
    return [
        made_leg(setup, n * every_s, course_deg=course, **more)
        for n, (setup, course) in enumerate(some)
    ]


def paired(legs: list[Leg]) -> tuple[list[tuple[int, ...]], list[str]]:
    doubles, alone = double_runs(legs)
    for one in doubles:
        assert sum(one.weights) == pytest.approx(1.0, abs=1e-15)
        assert {legs[n].setup for n in one.legs} == {one.setup}
    return [one.legs for one in doubles], [one.why.code.code for one in alone]


def test_there_and_back_again_and_again() -> None:
    legs = legs_of(("a", 40), ("a", 220), ("b", 40), ("b", 220), ("b", 40), ("b", 220))
    assert paired(legs) == ([(0, 1), (2, 3), (4, 5)], [])


def test_a_third_leg_goes_with_the_two_before_it() -> None:
    legs = legs_of(("a", 0), ("a", 180), ("a", 0), ("b", 180), ("b", 0))
    assert paired(legs) == ([(0, 1, 2), (3, 4)], [])
    assert double_runs(legs)[0][0].weights == (0.25, 0.5, 0.25)


@pytest.mark.parametrize(
    ("course_deg", "pairs"), [(180, 1), (204, 1), (156, 1), (206, 0), (154, 0), (0, 0)]
)
def test_the_way_back_is_on_the_opposite_course(course_deg: float, pairs: int) -> None:
    doubles, alone = paired(legs_of(("a", 0), ("a", course_deg)))
    assert len(doubles) == pairs
    assert bool(alone) is not bool(pairs)


@given(st.floats(0.0, 360.0))
def test_courses_around_north_are_continuous(course_deg: float) -> None:
    assert paired(legs_of(("a", course_deg), ("a", (course_deg + 190.0) % 360.0))) == ([(0, 1)], [])


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"setup": "b"}, Reason.OTHER_SETUP_NEXT),
        ({"start_s": 1901.0}, Reason.RUN_BACK_LATE),
        ({"course_deg": 90.0}, Reason.NOT_OPPOSITE),
        ({"power_w": 445.0}, Reason.OTHER_POWER_NEXT),
        ({"power_w": 360.0}, Reason.OTHER_POWER_NEXT),
        ({"outing": 1}, Reason.NO_RUN_BACK),
    ],
)
def test_the_reason_why_a_leg_is_unpaired(change: dict, why: Reason) -> None:
    back = {"start_s": 140.0, "course_deg": 180.0} | change
    doubles, alone = double_runs([made_leg("a"), made_leg(**{"setup": "a"} | back)])
    assert doubles == []
    assert [one.leg for one in alone] == [0, 1]
    assert [one.why for one in alone] == [Unknown(why), Unknown(Reason.NO_RUN_BACK)]


@pytest.mark.parametrize("back", [{"start_s": 1899.0}, {"power_w": 440.0}, {"power_w": 364.0}])
def test_limits_of_pairing(back: dict) -> None:
    legs = [made_leg("a"), made_leg("a", **({"start_s": 140.0, "course_deg": 180.0} | back))]
    assert len(double_runs(legs)[0]) == 1


@given(
    st.lists(
        st.tuples(st.sampled_from("ab"), st.sampled_from([0.0, 180.0, 90.0]), st.integers(0, 1)),
        max_size=14,
    )
)
def test_each_leg_counts_once(some: list[tuple[str, float, int]]) -> None:
    legs = [
        made_leg(setup, n * 140.0, course_deg=course, outing=outing)
        for n, (setup, course, outing) in enumerate(sorted(some, key=lambda one: one[2]))
    ]
    doubles, alone = double_runs(legs)
    counted = [n for one in doubles for n in one.legs] + [one.leg for one in alone]
    assert sorted(counted) == list(range(len(legs)))
    for one in doubles:
        assert (
            len({legs[n].outing for n in one.legs}) == len({legs[n].setup for n in one.legs}) == 1
        )
        assert list(one.legs) == list(range(one.legs[0], one.legs[-1] + 1))
