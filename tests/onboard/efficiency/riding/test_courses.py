"""Courses: the angle between them, and the legs of a ride."""

import math

import numpy as np
import pytest

from onboard.efficiency.riding.courses import against, along, angle, legs


@pytest.mark.parametrize(
    ("a", "b", "between"), [(350, 20, 30), (20, 350, 30), (0, 180, 180), (-90, 270, 0), (10, 10, 0)]
)
def test_the_angle_between_courses_knows_the_circle(a: float, b: float, between: float) -> None:
    # By the scalar product of unit vectors.
    exact = math.acos(max(min(math.cos(math.radians(a - b)), 1.0), -1.0))
    assert angle(math.radians(a), math.radians(b)) == pytest.approx(exact, abs=1e-9)
    assert math.degrees(exact) == pytest.approx(between, abs=1e-5)


def test_a_course_is_that_of_a_leg_its_way_back_or_neither() -> None:
    courses = np.radians([350.0, 59.0, 61.0, 119.0, 121.0, 180.0, 239.0, 241.0])
    assert along(courses, 0.0).tolist() == [True, True] + [False] * 6
    assert against(courses, 0.0).tolist() == [False] * 4 + [True] * 3 + [False]


def test_a_leg_ends_where_the_course_leaves_its_mean() -> None:
    course = np.radians(np.repeat([355.0, 5.0, 90.0], [4, 4, 5]))
    assert [leg.tolist() for leg in legs(course)] == [list(range(8)), list(range(8, 13))]


def test_short_legs_count_only_while_they_are_the_present_one() -> None:
    course = np.radians(np.repeat([0.0, 90.0, 180.0, 270.0], [5, 2, 5, 1]))
    assert [leg.tolist() for leg in legs(course)] == [[0, 1, 2, 3, 4], [7, 8, 9, 10, 11], [12]]
