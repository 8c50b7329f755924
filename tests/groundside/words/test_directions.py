"""Direction of home, and of the water's set, in words."""

import pytest

from groundside.words.directions import Turn, point_of, spread_along, turn_to
from groundside.words.units import CHOICES
from groundside.words.water import known_water, water_text
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import SetAndDrift
from tests.groundside.dashboard.steered_app import snapshot
from tests.made_snapshot import around

QUIET = Unknown(Reason.QUIET, age_s=7.0)
OTHERS = Unknown(Reason.NEEDS_OTHER_COURSES)
STATED_BY_ENDS = (0.0, 0.0, 0.0)
"""No covariance: the intervals alone give the uncertainty."""
KMH, KN = CHOICES["km/h"], CHOICES["kn"]


@pytest.mark.parametrize(
    ("speed_mps", "course", "heading", "turn"),
    [
        (2.0, 83.0, 200.0, Turn(40, "your course")),
        (0.4, 83.0, 200.0, Turn(40, "your course")),
        # at rest a course is the receiver's noise: the bow counts
        (0.39, 83.0, 200.0, Turn(-75, "the bow")),
        (0.0, 83.0, 200.0, Turn(-75, "the bow")),
        (QUIET, 83.0, 200.0, Turn(-75, "the bow")),
        (2.0, QUIET, 200.0, Turn(-75, "the bow")),
        (0.1, 83.0, QUIET, Turn()),
        (2.0, QUIET, QUIET, Turn()),
        (2.0, 303.0, QUIET, Turn(-180, "your course")),
        (2.0, 350.0, QUIET, Turn(135, "your course")),
        (2.0, 125.4, QUIET, Turn(0, "your course")),
    ],
)
def test_home_is_relative_to_the_course_and_at_rest_to_the_bow(
    speed_mps: float | Unknown, course: float | Unknown, heading: float | Unknown, turn: Turn
) -> None:
    shown = snapshot(speed_mps=speed_mps, course_deg=course, heading_deg=heading)
    assert turn_to(123.0, shown) == turn


@pytest.mark.parametrize(
    ("angle", "words", "aside"),
    [
        (None, "", False),
        (0, "straight ahead", False),
        (5, "straight ahead", False),
        (-5, "straight ahead", False),
        (10, "10 deg to the right", True),
        (-10, "10 deg to the left", True),
        (-90, "90 deg to the left", True),
        (170, "170 deg to the right", True),
        (175, "straight behind", False),
        (-180, "straight behind", False),
    ],
)
def test_a_turn_in_words(angle: int | None, words: str, aside: bool) -> None:
    turn = Turn(angle)
    assert turn.words == words
    assert turn.aside is aside


def test_the_points_of_the_compass() -> None:
    named = [point_of(direction) for direction in (0.0, 44.0, 90.0, 137.0, 180.0, 225.0, 271.0)]
    assert named == ["N", "NE", "E", "SE", "S", "SW", "W"]
    assert point_of(337.6) == "N"


def test_the_spread_of_the_water_along_its_set() -> None:
    # By hand: along (0.6, 0.8) it is 0.36 * 4 + 2 * 0.48 * 1 + 0.64 * 9 = 8.16.
    water = SetAndDrift(around(1.0), around(1.0), (4.0, 1.0, 9.0))
    assert spread_along(water, 0.6, 0.8) == pytest.approx(8.16)
    assert spread_along(SetAndDrift(around(1.0), around(1.0), STATED_BY_ENDS), 0.6, 0.8) is None


@pytest.mark.parametrize(
    ("water", "expected"),
    [
        (Unknown(Reason.NO_CURVE), "water not known: no curve yet"),
        (
            SetAndDrift(OTHERS, OTHERS, STATED_BY_ENDS),
            "water not known: needs steady stretches on other courses at similar power",
        ),
        # 0.3 m/s to the west and 0.4 to the north are 0.5, 1.8 km/h, towards 323 deg; a standard
        # deviation of 0.05 m/s all around is 0.098 m/s, 0.4 km/h, of a half width.
        (
            SetAndDrift(around(-0.3), around(0.4), (0.0025, 0.0, 0.0025)),
            "water sets 1.8 km/h towards NW, sure to 0.4",
        ),
        (
            SetAndDrift(Figure(0.02, -0.08, 0.12), Figure(0.0, -0.1, 0.1), STATED_BY_ENDS),
            "water sets less than 0.4 km/h, if at all",
        ),
        (SetAndDrift(Figure(0.0), Figure(0.5), STATED_BY_ENDS), "water sets 1.8 km/h towards N"),
        (
            SetAndDrift(Figure(-0.5, -0.6, -0.4), OTHERS, STATED_BY_ENDS),
            "water sets 1.8 km/h to the W, sure to 0.4; north-south not known: "
            "needs steady stretches on other courses at similar power",
        ),
        (
            SetAndDrift(OTHERS, Figure(0.5, 0.4, 0.6), STATED_BY_ENDS),
            "water sets 1.8 km/h to the N, sure to 0.4; east-west not known: "
            "needs steady stretches on other courses at similar power",
        ),
        (
            SetAndDrift(OTHERS, Figure(0.05, -0.15, 0.25), STATED_BY_ENDS),
            "water sets less than 0.9 km/h S-N; east-west not known: "
            "needs steady stretches on other courses at similar power",
        ),
    ],
)
def test_the_water_in_words(water: SetAndDrift | Unknown, expected: str) -> None:
    assert water_text(water, KMH) == expected


def test_the_water_is_in_the_riders_units() -> None:
    # 0.5 m/s are 0.97 kn; a second decimal, because a tenth of a knot is much there.
    water = SetAndDrift(Figure(0.0), Figure(0.5), STATED_BY_ENDS)
    assert water_text(water, KN) == "water sets 0.97 kn towards N"


def test_one_known_component_of_the_water_is_shown() -> None:
    half = SetAndDrift(around(0.2), OTHERS, STATED_BY_ENDS)
    assert known_water(half) is half
    assert known_water(SetAndDrift(OTHERS, OTHERS, STATED_BY_ENDS)) == OTHERS
    assert known_water(QUIET) == QUIET
