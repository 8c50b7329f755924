"""Chauvenet's threshold against scipy's inverse error function, and obvious outliers."""

import math

import numpy as np
import pytest
from scipy import special

from onboard.efficiency.statistics.chauvenet import inliers, threshold

# N erfc(k / sqrt 2) = 0.5, worked out with scipy 1.17.1.
PUBLISHED = {
    3: 1.383, 4: 1.534, 5: 1.645, 6: 1.732, 7: 1.803, 10: 1.960, 15: 2.128, 25: 2.326, 50: 2.576,
    100: 2.807, 300: 3.144, 500: 3.291, 600: 3.341, 1000: 3.481,
}  # fmt: skip


@pytest.mark.parametrize(("count", "value"), PUBLISHED.items())
def test_threshold_as_tabulated(count: int, value: float) -> None:
    assert threshold(count) == pytest.approx(value, abs=5e-4)
    assert threshold(count) == pytest.approx(special.erfcinv(0.5 / count) * math.sqrt(2), rel=1e-12)


def test_one_far_value_is_rejected_and_no_other() -> None:
    values = np.array([10.0, 10.2, 9.9, 10.1, 9.8, 10.0, 13.0])
    assert inliers(values).tolist() == [True] * 6 + [False]


def test_few_or_equal_values_are_all_kept() -> None:
    assert inliers(np.array([1.0, 100.0])).all()
    assert inliers(np.full(20, 3.0)).all()
    assert inliers(np.empty(0)).shape == (0,)
