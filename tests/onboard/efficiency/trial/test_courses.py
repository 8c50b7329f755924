"""Laps round different courses."""

import pytest

from onboard.contract.remarks import Caution
from onboard.efficiency.trial.courses import course_cautions
from onboard.efficiency.trial.leg import Leg
from tests.onboard.efficiency.trial.made_legs import made_leg


def lap(lap_m: float = 500.0, shape: float = 0.2, setup: str = "a") -> Leg:
    """Return a lap; its shape is the enclosed area over the square of half its length."""
    more = {"lap_m": lap_m, "lap_area_m2": shape * (lap_m / 2.0) ** 2}
    return made_leg(setup, **more)


def differing(*laps: Leg) -> list[tuple[float, str]]:
    """Return number and way of what differs."""
    cautions = course_cautions(list(laps))
    if not cautions:
        return []
    (caution,) = cautions
    assert isinstance(caution, Caution)
    numbers, ways = caution.values["run_numbers"], caution.values["ways"]
    assert isinstance(numbers, tuple)
    assert isinstance(ways, tuple)
    return list(zip(numbers, map(str, ways), strict=True))


@pytest.mark.parametrize(
    ("other", "way"),
    [
        (lap(515.0), None),
        (lap(530.0), "longer"),
        (lap(472.0), "shorter"),
        (lap(shape=-0.2), "other_way_round"),
        (lap(530.0, -0.2), "other_way_round"),
        (lap(shape=0.3), "other_shape"),
        (lap(shape=0.13), "other_shape"),
        (lap(shape=0.22), None),
        (lap(shape=0.01), "other_shape"),
    ],
)
def test_one_lap_unlike_the_others(other: Leg, way: str | None) -> None:
    laps = [lap(), lap(503.0), other, lap(497.0)]
    assert differing(*laps) == ([(3, way)] if way else [])


def test_two_laps_differ_by_all_of_their_difference() -> None:
    assert differing(lap(500.0), lap(520.0, setup="b")) == []
    assert differing(lap(500.0), lap(525.0, setup="b")) == [(2, "longer")]
    assert differing(lap(525.0), lap(500.0, setup="b")) == [(1, "longer")]
    assert differing(lap(), lap(shape=-0.2, setup="b")) == [(2, "other_way_round")]


def test_a_standing_start_is_no_other_course() -> None:
    # 6 % of the path is missing, but not of the area.
    short = made_leg("a", lap_m=470.0, lap_area_m2=0.2 * 250.0**2)
    assert differing(lap(), short, lap()) == []
    # As little is a lap taken wide at the marks.
    wide = made_leg("a", lap_m=505.0, lap_area_m2=0.23 * 250.0**2)
    assert differing(lap(), wide, lap()) == []


def test_values_of_the_caution() -> None:
    (caution,) = course_cautions([lap(), made_leg("a"), lap(600.0, setup="slim"), lap()])
    assert caution.values == {
        "usual_lap_m": 500.0,
        "run_numbers": (3,),
        "setups": ("slim",),
        "ways": ("longer",),
        "laps_m": (600.0,),
    }


def test_straight_runs_and_a_single_lap_have_nothing_to_differ_from() -> None:
    assert course_cautions([]) == []
    assert course_cautions([made_leg("a"), made_leg("b")]) == []
    assert course_cautions([lap(), made_leg("b")]) == []


def test_courses_that_cross_themselves_have_no_way_round() -> None:
    assert differing(lap(shape=0.002), lap(shape=-0.002), lap(shape=0.0)) == []
    assert differing(lap(shape=0.002), lap(560.0, shape=-0.002)) == [(2, "longer")]
    (caution,) = course_cautions([lap(shape=0.0), lap(900.0, 0.0)])
    assert caution.values["usual_lap_m"] == 500.0
