"""Similar courses become one line; a bend and distinct courses do not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.efficiency.common_practice import LINE_WIDEST_DEG
from onboard.efficiency.curve.courses import line_directions


def velocities(courses_deg, speed_mps=1.5):
    angle = np.radians(np.asarray(courses_deg, dtype=float))
    return speed_mps * np.stack([np.sin(angle), np.cos(angle)], axis=1)


def courses(unit):
    return np.degrees(np.arctan2(unit[:, 0], unit[:, 1])) % 360


def test_there_and_back_is_one_line() -> None:
    found = courses(line_directions(velocities([359.0, 1.0, 0.0, 180.0, 181.0, 179.0])))
    assert np.cos(np.radians(found - [0, 0, 0, 180, 180, 180])) == pytest.approx(1, abs=1e-12)


def test_distinct_courses_are_kept_apart() -> None:
    assert courses(line_directions(velocities([10, 130, 250, 25]))) == pytest.approx(
        [10, 130, 250, 25]
    )


def test_a_bend_is_not_taken_as_one_line() -> None:
    bend = np.linspace(20, 100, 81)
    assert courses(line_directions(velocities(bend))) == pytest.approx(bend, abs=5.0)


@given(st.lists(st.floats(0, 359.9), min_size=1, max_size=60))
def test_no_course_is_turned_far_nor_its_length_changed(wanted: list[float]) -> None:
    unit = line_directions(velocities(wanted))
    assert np.hypot(unit[:, 0], unit[:, 1]) == pytest.approx(1.0)
    turned = np.degrees(np.arccos(np.clip((unit * velocities(wanted, 1.0)).sum(axis=1), -1, 1)))
    assert (turned <= LINE_WIDEST_DEG + 1e-6).all()
