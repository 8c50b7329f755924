"""The median equals that of the standard library."""

import statistics

import numpy as np
import pytest

from onboard.efficiency.statistics.middle import median


@pytest.mark.parametrize("count", [1, 2, 3, 4, 11, 12])
def test_the_median_is_that_of_the_standard_library(count: int) -> None:
    values = np.random.default_rng(count).normal(size=count)
    assert median(values) == pytest.approx(statistics.median(values.tolist()), rel=1e-15)
