"""What rides took at a speed over ground, against means by hand."""

import numpy as np
import pytest

from onboard.efficiency.curve.ridden import Took, none_ridden, ridden, together, took
from onboard.efficiency.curve.steady import SteadyBlock


def block(speed_mps: float, power_w: float, course_deg: float = 70.0) -> SteadyBlock:
    course = np.radians(course_deg)
    east, north = speed_mps * np.sin(course), speed_mps * np.cos(course)
    return SteadyBlock(20.0, power_w, 1.0, float(east), float(north))


def test_the_mean_of_all_courses_at_a_speed() -> None:
    # 144 W at 2 m/s are 20 Wh/km, 216 W are 30 Wh/km; four blocks of 20 s.
    blocks = [block(2.0, 144.0), block(2.0, 216.0, 250.0)] * 2
    found = took(ridden(blocks), 2.0)
    # The deviation of four values 20, 30, 20, 30 is 5.7735.
    assert found == Took(pytest.approx(25.0), pytest.approx(5.7735, abs=1e-4), 80.0)


def test_only_what_was_ridden_at_the_speed_counts() -> None:
    sums = ridden([block(speed, 100.0) for speed in (1.96, 2.0, 2.04, 2.06, 2.1, 2.3)])
    found = took(sums, 2.0)
    assert found is not None
    assert found.wh_per_km == pytest.approx(100.0 / 3.6 * np.mean([1 / 1.96, 1 / 2.0, 1 / 2.04]))
    assert found.seconds_s == 60.0
    # Between two bands, both.
    both = took(sums, 2.05)
    assert both is not None and both.seconds_s == 100.0
    assert took(sums, 2.1) is None
    assert took(sums, 2.3) is None


def test_less_than_a_minute_tells_nothing() -> None:
    assert took(ridden([block(2.0, 100.0)] * 2), 2.0) is None
    assert took(none_ridden(), 2.0) is None


def test_rides_add_up() -> None:
    first, second = [block(2.0, 90.0), block(1.0, 30.0)], [block(2.0, 110.0), block(3.0, 300.0)]
    both = together(ridden(first), ridden(second))
    assert both == pytest.approx(ridden([*first, *second]))
    assert (np.diff(both[:, 0]) > 0).all()
    assert together(none_ridden(), both).tolist() == both.tolist()
