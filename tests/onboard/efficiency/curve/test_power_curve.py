"""Power over ground from a curve that is exactly a cube: P = 20 w^3, in water that moves."""

from dataclasses import replace

import numpy as np
import pytest

from onboard.efficiency.common_practice import CURVE_SYSTEMATIC_SD, PLANNED_SLOWEST_MPS
from onboard.efficiency.curve.power_curve import GroundPower
from onboard.efficiency.curve.speed_power import KNOTS, Posterior

WATER = np.array([0.4, -0.25])
SEEN_MPS = (1.0, 2.4)
COUNT = 2 + len(KNOTS)


def cube(water=WATER, seed: int | None = 3) -> Posterior:
    """Return a posterior with correlated errors of water and curve (none without a seed)."""
    covariance = np.zeros((COUNT, COUNT))
    if seed is not None:
        root = np.random.default_rng(seed).normal(0, 0.01, (COUNT, COUNT))
        covariance = root @ root.T
    ln_speed = (KNOTS - np.log(20.0)) / 3.0
    return Posterior(np.array(water), ln_speed, covariance, SEEN_MPS, 20, 0.02, 1e-4)


@pytest.mark.parametrize("course_deg", [0.0, 60.0, 90.0, 200.0, 315.0])
def test_the_power_is_that_of_the_speed_through_the_water(course_deg: float) -> None:
    speed = np.array([0.8, 1.5, 2.2])
    power, _, seen, by_water = GroundPower(cube())(speed, course_deg)
    # By hand: east and north over ground, less the water's.
    east = speed * np.sin(np.radians(course_deg)) - 0.4
    north = speed * np.cos(np.radians(course_deg)) + 0.25
    through = np.hypot(east, north)
    assert power == pytest.approx(20.0 * through**3, rel=1e-6)
    assert seen.tolist() == [1.0 <= one <= 2.4 for one in through]
    # d ln P = 3 dw / w.
    assert by_water == pytest.approx((3.0 / through) ** 2, rel=1e-6)


def test_a_favourable_current_hinders_on_the_reverse_course() -> None:
    known = GroundPower(cube((0.5, 0.0)))
    there, back = (known(np.array([2.0]), course)[0][0] for course in (90.0, 270.0))
    assert (there, back) == pytest.approx((20.0 * 1.5**3, 20.0 * 2.5**3))


def test_on_an_unknown_course_the_water_may_come_from_anywhere() -> None:
    # Along a random course the water's contribution is half of its square on average.
    known = replace(cube(seed=None), covariance=np.diag([0.03**2, 0.04**2, *([0.0] * len(KNOTS))]))
    speed = np.array([1.2, 2.0])
    power, variance, _, _ = GroundPower(known)(speed, None)
    assert power == pytest.approx(20.0 * speed**3, rel=1e-6)
    along = (0.4**2 + 0.25**2 + 0.03**2 + 0.04**2) / 2
    shared = (3.0 * CURVE_SYSTEMATIC_SD) ** 2
    assert variance == pytest.approx(along * (3.0 / speed) ** 2 + shared, rel=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_variance_is_that_of_the_change_with_water_and_curve(seed: int) -> None:
    # By differences of ln P along each unknown, with a covariance that correlates them.
    known = cube(seed=seed)
    velocity = np.array([[1.6, 0.3], [-0.9, 1.2], [0.2, -2.0]])

    def ln_power(unknowns: np.ndarray) -> np.ndarray:
        moved = replace(known, water_mps=unknowns[:2], ln_speed=unknowns[2:])
        return moved.at_velocity(velocity)[0]

    here, step = np.concatenate([known.water_mps, known.ln_speed]), 1e-6
    by = np.stack(
        [
            (ln_power(here + step * one) - ln_power(here - step * one)) / (2 * step)
            for one in np.eye(COUNT)
        ],
        axis=1,
    )
    exact = np.einsum("ni,ij,nj->n", by, known.covariance, by) + (3.0 * CURVE_SYSTEMATIC_SD) ** 2
    assert known.at_velocity(velocity)[1] == pytest.approx(exact, rel=1e-4)


def test_evaluated_speeds_extend_as_far_as_the_water_carries() -> None:
    speeds = GroundPower(cube((0.3, 0.4))).speeds()
    assert (speeds[0], speeds[-1]) == pytest.approx((PLANNED_SLOWEST_MPS, 2.4 + 0.5))
    assert GroundPower(cube((0.0, 0.0))).speeds()[0] == 1.0
