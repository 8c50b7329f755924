"""The ride's own line of consumption over power."""

import numpy as np
import pytest
from scipy import stats

from onboard.efficiency.riding.common_practice import LINE_SD_FRACTION, LINE_SLOPE
from onboard.efficiency.riding.consumption_line import line_at


def test_the_line_is_that_of_least_squares_where_power_varied() -> None:
    # Against scipy.stats.linregress, a reference.
    rng = np.random.default_rng(1)
    power = np.exp(rng.uniform(3.5, 6.8, 900))
    speed = power**0.3 / 3 * np.exp(0.05 * rng.normal(size=900))
    line = stats.linregress(np.log(power), np.log(power / speed))
    for at in (4.0, 6.0):
        found, _ = line_at(power, speed, at)
        assert found == pytest.approx(line.intercept + line.slope * at, abs=2e-3)


def test_of_one_power_the_usual_slope_leads_on() -> None:
    found, variance = line_at(np.full(60, 200.0), np.full(60, 2.0), np.log(400.0))
    assert found == pytest.approx(np.log(100.0) + LINE_SLOPE * np.log(2.0))
    near, least = line_at(np.full(60, 200.0), np.full(60, 2.0), np.log(200.0))
    assert near == pytest.approx(np.log(100.0))
    assert LINE_SD_FRACTION**2 <= least < variance


def test_too_little_riding_makes_no_line() -> None:
    assert line_at(np.full(2, 200.0), np.full(2, 2.0), 5.0) is None
    assert line_at(np.array([-5.0, 200.0, 210.0]), np.full(3, 2.0), 5.0) is None
