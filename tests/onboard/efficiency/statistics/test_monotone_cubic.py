"""The monotone cubic against scipy's, which follows the same paper."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from onboard.efficiency.statistics.monotone_cubic import interpolate


@given(st.integers(0, 10_000))
def test_inside_it_equals_scipys_and_rises(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(0.01, 1.0, 12))
    y = np.cumsum(rng.uniform(0.0, 1.0, 12) * (rng.random(12) > 0.2))
    at = np.linspace(x[1], x[-2], 200)
    np.testing.assert_allclose(interpolate(at, x, y), PchipInterpolator(x, y)(at), atol=1e-12)
    wide = interpolate(np.linspace(x[0] - 1, x[-1] + 1, 300), x, y)
    assert (np.diff(wide) >= -1e-12).all()


def test_beyond_the_ends_the_slope_continues() -> None:
    x, y = np.array([0.0, 1.0, 2.0, 4.0]), np.array([0.0, 1.0, 3.0, 11.0])
    assert interpolate(np.array([-1.0, 5.0]), x, y).tolist() == [-1.0, 15.0]
