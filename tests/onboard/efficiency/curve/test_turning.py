"""Circles: the centre of a turn's velocities is the set and drift, whatever the turn costs."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.efficiency.curve.turning import CircleFinder, fit_circle
from tests.onboard.efficiency.curve.made_blocks import settled


def turn(turned_deg, seconds, radius_mps, water_mps, rng=None, *, noise_mps=0.04, slower=0.0):
    """Return 30 s straight on, a turn, 30 s straight on; the craft is slower in the turn."""
    course = np.concatenate(
        [np.zeros(30), np.linspace(0, turned_deg, seconds), np.full(30, turned_deg)]
    )
    inside = np.r_[np.zeros(30), np.ones(seconds), np.zeros(30)]
    speed = radius_mps * (1 - slower * inside)
    angle = np.radians(course + 40)
    velocity = np.stack([np.sin(angle), np.cos(angle)]) * speed + np.asarray(water_mps)[:, None]
    if rng is not None:
        velocity = velocity + rng.normal(0, noise_mps, velocity.shape)
    return settled(np.full(len(course), 200.0), *velocity)


def test_exact_circle() -> None:
    angle = np.linspace(0, 5, 30)
    points = np.stack([0.3 + 1.7 * np.sin(angle), -0.2 + 1.7 * np.cos(angle)], axis=1)
    circle = fit_circle(points)
    assert circle is not None
    assert (circle.east_mps, circle.north_mps) == pytest.approx((0.3, -0.2), abs=1e-9)


def test_a_straight_line_of_velocities_is_not_a_circle() -> None:
    assert fit_circle(np.stack([np.linspace(1, 2, 20), np.zeros(20)], axis=1)) is None


@pytest.mark.parametrize("turned_deg", [260.0, -300.0, 360.0])
def test_the_water_from_a_turn_that_costs_a_fifth_of_the_speed(turned_deg: float) -> None:
    circles = CircleFinder().fold(turn(turned_deg, 60, 2.0, (0.25, -0.15), slower=0.2))
    assert len(circles) == 1
    assert circles[0].east_mps == pytest.approx(0.25, abs=0.06)
    assert circles[0].north_mps == pytest.approx(-0.15, abs=0.06)


def test_two_full_turns_count_twice_at_most() -> None:
    circles = CircleFinder().fold(turn(720.0, 120, 2.0, (0.1, 0.2)))
    assert 1 <= len(circles) <= 2


@pytest.mark.parametrize("case", ["half", "power", "slow", "to and fro"])
def test_no_circle(case: str) -> None:
    seconds = turn(180.0 if case == "half" else 360.0, 60, 2.0, (0.1, 0.1))
    if case == "power":
        seconds.power_w[60:] *= 2.0
    elif case == "slow":
        # At rest the noise of the velocity turns the course round and round.
        noise = np.random.default_rng(4).normal(0, 0.05, (2, 400))
        seconds = settled(np.full(400, 5.0), *noise)
    elif case == "to and fro":
        angle = np.radians(80 * np.sin(np.arange(400) / 15.0))
        seconds = settled(np.full(400, 200.0), 2 * np.sin(angle), 2 * np.cos(angle))
    assert CircleFinder().fold(seconds) == []


def test_from_rest_into_a_straight_leg_is_not_a_circle() -> None:
    rng = np.random.default_rng(5)
    east = np.r_[rng.normal(0, 0.05, 30), np.linspace(0, 2, 10), np.full(60, 2.0)]
    north = np.r_[rng.normal(0, 0.05, 30), np.zeros(70)]
    assert CircleFinder().fold(settled(np.full(100, 200.0), east, north)) == []


def test_the_stated_spread_has_its_coverage() -> None:
    rng = np.random.default_rng(6)
    off = []
    for _ in range(200):
        water = rng.normal(0, 0.3, 2)
        circles = CircleFinder().fold(turn(340.0, 50, 1.8, water, rng))
        for circle in circles:
            error = np.array([circle.east_mps, circle.north_mps]) - water
            off.append(error @ np.linalg.inv(circle.covariance) @ error)
    assert len(off) >= 190
    # Chi-square with 2 degrees of freedom: 95 % below 5.991 (tables). The stated spread has more
    # than this noise, so it is wider than necessary here.
    assert np.mean(np.array(off) < 5.991) >= 0.95


@settings(max_examples=25)
@given(st.integers(0, 1000), st.lists(st.integers(0, 120), max_size=8))
def test_circles_do_not_depend_on_the_cut(seed: int, cuts: list[int]) -> None:
    whole = turn(350.0, 60, 1.8, (0.1, -0.1), np.random.default_rng(seed))
    finder, edges = CircleFinder(), [0, *sorted(cuts), len(whole)]
    pieces = [
        (circle.t_s, circle.east_mps)
        for begin, end in itertools.pairwise(edges)
        for circle in finder.fold(whole.part(begin, end))
    ]
    assert pieces == [(circle.t_s, circle.east_mps) for circle in CircleFinder().fold(whole)]
