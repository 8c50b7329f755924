"""What is known besides the blocks: knots set aside leave the solution as it is."""

import numpy as np
import pytest

from onboard.efficiency.curve.priors import TouchedKnots, curve_known
from onboard.efficiency.curve.speed_power import ANY_SHAPE, KNOTS, SHAPE, Carried, knot_weights

ALL = slice(0, len(KNOTS))


def carried() -> Carried:
    rng = np.random.default_rng(4)
    root = rng.normal(size=(12, 12))
    return Carried(20, np.linspace(0.3, 1.2, 12), root @ root.T * 1e-3 + np.eye(12) * 1e-3, (1, 3))


@pytest.mark.parametrize("shape", [SHAPE, ANY_SHAPE])
@pytest.mark.parametrize("before", [None, carried()])
@pytest.mark.parametrize("touched", [slice(0, 9), slice(30, 44), slice(50, len(KNOTS)), ALL])
def test_the_solution_is_that_of_all_knots(shape, before, touched: slice) -> None:
    # Least squares over all knots, by the textbook formula, with observations at touched ones.
    rng = np.random.default_rng(1)
    inner = KNOTS[touched]
    rows = knot_weights(rng.uniform(inner[1], inner[-2], 30))
    observed, weight = rng.normal(0.7, 0.1, 30), 1 / 0.05**2
    whole = curve_known(shape, before, ALL)
    normal = whole.normal + rows.T @ rows * weight
    covariance = np.linalg.inv(normal)
    curve = covariance @ (whole.right + rows.T @ observed * weight)

    known = curve_known(shape, before, touched)
    mine = rows[:, touched]
    given = np.linalg.inv(known.normal + mine.T @ mine * weight)
    found = given @ (known.right + mine.T @ observed * weight)
    assert known.curve(found) == pytest.approx(curve, rel=1e-7, abs=1e-9)
    assert known.covariance(given) == pytest.approx(covariance, rel=1e-6, abs=1e-9)


def test_all_knots_touched_sets_none_aside() -> None:
    rng = np.random.default_rng(2)
    root = rng.normal(size=(len(KNOTS), len(KNOTS)))
    normal, right = root @ root.T + np.eye(len(KNOTS)), rng.normal(size=len(KNOTS))
    same = TouchedKnots(normal, right, ALL)
    assert same.normal == pytest.approx(normal)
    assert same.curve(right) == pytest.approx(right)
