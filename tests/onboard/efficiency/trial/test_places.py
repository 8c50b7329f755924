"""Groups, chances to be the best, and what to ride next."""

import math

import numpy as np
import pytest
from scipy import stats

from onboard.contract.figure import Figure, Unknown
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import Comparison
from tests.onboard.efficiency.trial.made_legs import Runs, made_lap, made_leg


def laps(order: str, speed_mps: dict[str, float], sd: float = 0.0, seed: int = 1) -> Comparison:
    rng = np.random.default_rng(seed)
    legs = [
        made_lap(one, 350.0 * n, speed_mps[one] * math.exp(sd * rng.standard_normal()))
        for n, one in enumerate(order)
    ]
    found = compare(legs, 400.0, CurveSlope(0.28, 0.05, False), 0.02)
    assert not isinstance(found, Unknown)
    return found


SPREAD = {"a": 2.0, "b": 1.99, "c": 1.8, "d": 1.79, "e": 1.5}
TURNS = "abcdeedcba" * 2


def test_groups_hold_those_that_cannot_be_told_apart() -> None:
    found = laps(TURNS, SPREAD, 0.01)
    assert [(one.name, one.group) for one in found.places] == [
        ("a", 0), ("b", 0), ("c", 1), ("d", 1), ("e", 2),
    ]  # fmt: skip
    assert found.next_runs.drop == ("c", "d", "e")


def test_how_far_each_is_behind_the_best() -> None:
    found = laps(TURNS, SPREAD)
    for one in found.places:
        figure = one.behind_fraction
        assert isinstance(figure, Figure)
        # At equal power Wh/km go as one over speed.
        assert figure.value == pytest.approx(2.0 / SPREAD[one.name] - 1.0, abs=1e-9)
    assert found.places[0].behind_fraction == Figure(0.0)


def test_the_chance_to_be_the_best_of_two_is_student_s() -> None:
    found = laps("abba" * 2, {"a": 2.0, "b": 1.98}, 0.012, 3)
    (pair,) = found.pairs
    figure = pair.difference_fraction
    assert isinstance(figure, Figure)
    middle, high = math.log1p(figure.value), math.log1p(figure.high)
    sd = (high - middle) / stats.t.ppf(0.975, pair.freedom)
    expected = stats.t.cdf(abs(middle) / sd, pair.freedom)
    assert found.places[0].chance_best == pytest.approx(expected, abs=0.02)
    assert sum(one.chance_best for one in found.places) == pytest.approx(1.0)


def test_the_chance_to_be_the_best_of_equals() -> None:
    # Equally good by what was measured: a third each, by symmetry.
    found = laps("abccba" * 2, dict.fromkeys("abc", 2.0))
    assert [one.chance_best for one in found.places] == pytest.approx([1 / 3] * 3, abs=0.03)


def test_the_next_runs_go_back_through_those_left() -> None:
    found = laps("abcdeedcba" + "abcde", SPREAD, 0.01)
    assert not found.next_runs.enough
    # `b` was ridden after `a`: it is the nearer to what is on the craft now.
    assert found.next_runs.order == ("b", "a")
    assert (found.next_runs.rounds or 0) >= 1


def test_it_is_enough_when_the_best_is_told_from_all() -> None:
    found = laps(TURNS, SPREAD | {"a": 2.2}, 0.01)
    assert found.places[1].group == 1
    assert (found.next_runs.enough, found.next_runs.order) == (True, ())


def test_it_is_enough_when_those_left_are_alike() -> None:
    found = laps("abba" * 12, {"a": 2.0, "b": 2.0}, 0.01)
    assert found.places[1].group == 0
    assert found.next_runs.enough


def test_one_lap_each_tells_only_what_is_far_apart() -> None:
    """Found: one lap each of seven set-ups was refused, without figures."""
    speeds = {name: 2.0 - 0.02 * n for n, name in enumerate("abcdef")} | {"g": 1.5}
    found = laps("abcdefg", speeds)
    assert [one.name for one in found.places] == list("abcdefg")
    assert [one.group for one in found.places] == [0] * 6 + [1]
    # By hand: 1.5 % a lap, a step of 3.5 %, 0.2 %; the scatter is worth two degrees of freedom.
    sd = math.sqrt(2 * 0.015**2 + 0.035**2 + 0.002**2)
    freedom = 2.0 * sd**2 / (2 * 0.015**2)
    expected = math.expm1(stats.t.ppf(0.975, freedom) * sd)
    assert found.told_fraction == pytest.approx(expected, rel=1e-6)
    # One lap may have gone wrong: none is dropped yet.
    assert found.next_runs.order == tuple("gfedcba")
    assert found.next_runs.drop == ()
    assert [one.code.code for one in found.cautions] == ["usual_scatter", "order_confounded"]


def test_a_bad_lap_is_ridden_again_before_anything_is_made_of_it() -> None:
    """Found: of two laps either was left out, or a set-up dropped for one lap with weed."""
    wrong = [1.0, 1.0, 1.0, 1.0, 0.88, 1.0]
    legs = [
        made_lap(one, 350.0 * n, 2.0 * math.exp(0.004 * (-1) ** n) * off)
        for n, (one, off) in enumerate(zip("abccba", wrong, strict=True))
    ]
    for count in (5, 6):
        found = compare(legs[:count], 400.0, CurveSlope(0.28, 0.05, False), 0.02)
        assert not isinstance(found, Unknown)
        assert found.evidence.left_out == []
        assert found.next_runs.drop == ()
        assert "b" in found.next_runs.order
    once = compare(legs[2:5], 400.0, CurveSlope(0.28, 0.05, False), 0.02)
    assert not isinstance(once, Unknown)
    assert once.next_runs.drop == ()


def test_of_three_laps_a_bad_one_is_left_out() -> None:
    legs = [
        made_lap(one, 350.0 * n, 2.0 * math.exp(0.008 * (-1) ** (n // 2)) * (0.86 if n == 4 else 1))
        for n, one in enumerate("abccbaabccba")
    ]
    found = compare(legs, 400.0, CurveSlope(0.28, 0.05, False), 0.02)
    assert not isinstance(found, Unknown)
    assert [one.legs for one in found.evidence.left_out] == [(4,)]


def test_a_set_up_without_a_double_run_is_ridden_first() -> None:
    found = compare(
        [*Runs("abba").legs(), made_leg("c", 4000.0)], 400.0, CurveSlope(0.28, 0.05, False), 0.02
    )
    assert not isinstance(found, Unknown)
    assert not found.next_runs.enough
    assert found.next_runs.order[0] == "c"
