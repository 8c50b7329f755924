"""Content of the curve view: the line, its marks, and the same in words."""

from typing import Any

import pytest

from groundside.dashboard.content.curve import LEARN, can_be_drawn, curve_content, power_at
from groundside.dashboard.drawing.plot_content import AxisMark, Point
from groundside.words.units import CHOICES
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import SetAndDrift
from tests.groundside.dashboard.steered_app import TO_GO, snapshot, state, waiting
from tests.made_snapshot import CURVE, TARGET, around, changed, made_snapshot

THROUGH_WATER = changed(CURVE, speed_kind="through_water")
QUIET = Unknown(Reason.QUIET, age_s=7.0)
STATED_BY_ENDS = (0.0, 0.0, 0.0)
HEAD_WATER = SetAndDrift(around(-0.29), around(0.0), STATED_BY_ENDS)
"""0.29 m/s from ahead on course 90."""


def words(changes: dict[str, Any], **more: Any) -> dict[str, str]:
    shown = snapshot(**{"curve": CURVE, "best_speed_mps": around(1.5), **changes})
    (block,) = curve_content(state(shown, **more), of_consumption=False).blocks
    return {item.name: item.text for item in block}


@pytest.mark.parametrize(
    ("speed_mps", "power_w"),
    [(1.0, 80.0), (2.25, 440.0), (3.0, 900.0), (0.99, None), (3.01, None)],
)
def test_the_power_between_the_points(speed_mps: float, power_w: float | None) -> None:
    assert power_at(CURVE, speed_mps) == (None if power_w is None else pytest.approx(power_w))


@pytest.mark.parametrize(
    ("changes", "drawn"),
    [
        ({}, True),
        (dict.fromkeys(("speed_mps", "power_w", "low_w", "high_w"), (1.0,)), False),
        (dict.fromkeys(("speed_mps", "power_w", "low_w", "high_w"), STATED_BY_ENDS), False),
        ({"power_w": (1.0, 2.0)}, False),
        ({"high_w": ()}, False),
        ({"speed_mps": (1.0, 1.5, 1.5, 2.0, 3.0)}, False),
    ],
)
def test_whether_a_curve_can_be_drawn(changes: dict[str, Any], drawn: bool) -> None:
    assert can_be_drawn(changed(CURVE, **changes)) is drawn


@pytest.mark.parametrize(
    ("changes", "more", "expected"),
    [
        # At 2.21 m/s the line between 320 W at 2.0 and 560 W at 2.5 has 420.8 W, 52.9 Wh/km; at
        # the best 1.5 m/s 170 W are 31.5 Wh/km.
        ({}, {}, "8.0 km/h, 412 W: 68 % over the cheapest"),
        ({}, {"units": CHOICES["kn"]}, "4.3 kn, 412 W: 68 % over the cheapest"),
        ({"speed_mps": 1.51}, {}, "5.4 km/h, 412 W: the cheapest speed"),
        ({"speed_mps": 3.2}, {}, "11.5 km/h, 412 W: beyond what the curve has seen"),
        ({"speed_mps": 0.2}, {}, "0.7 km/h, 412 W"),
        ({}, {"since_received_s": 3.0}, "8.0 km/h, 412 W STALE"),
        ({"power_w": QUIET}, {}, "nothing for 7 s"),
        ({"speed_mps": Unknown(Reason.NO_FIX)}, {}, "no GPS fix"),
        ({"best_speed_mps": QUIET}, {}, "8.0 km/h, 412 W"),
        (
            {"curve": THROUGH_WATER},
            {},
            "8.0 km/h, 412 W over ground; not drawn: the water on this course is not known",
        ),
        (
            {"curve": THROUGH_WATER, "set_and_drift": HEAD_WATER, "course_deg": QUIET},
            {},
            "8.0 km/h, 412 W over ground; not drawn: the water on this course is not known",
        ),
        # 2.21 m/s over ground are 2.5 through the water, 560 W by the curve, 70.39 Wh/km over
        # ground; 1.5 are 1.79, 257 W, 47.59: 48 % more.
        (
            {"curve": THROUGH_WATER, "set_and_drift": HEAD_WATER, "course_deg": 90.0},
            {},
            "8.0 km/h, 412 W: 48 % over the cheapest",
        ),
    ],
)
def test_where_the_rider_is(changes: dict[str, Any], more: dict[str, Any], expected: str) -> None:
    assert words(changes, **more)["* now"] == expected


@pytest.mark.parametrize(
    ("changes", "units", "expected"),
    [
        (
            {"range_m__best": around(22_000.0)},
            "km/h",
            "5.4 km/h (5.1 to 5.7), 31 Wh/km, 22.0 km of range",
        ),
        # 31.48 Wh/km * 1.852 = 58.3 Wh/NM; 22 km are 11.9 NM
        (
            {"range_m__best": around(22_000.0)},
            "kn",
            "2.9 kn (2.8 to 3.1), 58 Wh/NM, 11.9 NM of range",
        ),
        ({"best_speed_mps": Figure(1.5)}, "km/h", "5.4 km/h, 31 Wh/km"),
        ({"best_speed_mps": Figure(3.5)}, "km/h", "12.6 km/h"),
        ({"best_speed_mps": QUIET}, "km/h", "nothing for 7 s"),
    ],
)
def test_the_best_speed(changes: dict[str, Any], units: str, expected: str) -> None:
    assert words(changes, units=CHOICES[units])["B best"] == expected


def test_the_target_speed() -> None:
    # 320 W at 2 m/s are 44.4 Wh/km.
    assert words({"target": TARGET})["T target"] == "7.2 km/h, 44 Wh/km"
    assert "T target" not in words({"target": TO_GO})
    assert "T target" not in words({})


@pytest.mark.parametrize(
    ("of_consumption", "units", "y_unit", "at_2_mps"),
    [
        (False, "km/h", "W", 320.0),
        (False, "kn", "W", 320.0),
        (True, "km/h", "Wh/km", 44.44),
        (True, "kn", "Wh/NM", 82.31),
    ],
)
def test_the_line_in_the_riders_units(
    of_consumption: bool, units: str, y_unit: str, at_2_mps: float
) -> None:
    shown = state(snapshot(curve=CURVE, setup="B"), units=CHOICES[units])
    plot = curve_content(shown, of_consumption=of_consumption).plot
    assert (plot.x.unit, plot.y.unit) == (units, y_unit)
    assert plot.trace.x[2] == pytest.approx(CHOICES[units].speed(2.0))
    assert plot.trace.y[2] == pytest.approx(at_2_mps, abs=0.01)
    assert plot.band.low[2] < at_2_mps < plot.band.high[2]
    what = "consumption" if of_consumption else "battery power"
    assert plot.title == (f" {what}, speed over ground", "set-up B")


def test_now_best_and_target_are_marked() -> None:
    best = Figure(1.5, 1.4, 1.6)
    shown = snapshot(curve=CURVE, best_speed_mps=best, target=TARGET)
    plot = curve_content(state(shown), of_consumption=False).plot
    assert plot.points == (Point("*", pytest.approx(7.956), 412.0),)
    assert plot.marks == (
        AxisMark("B", *(pytest.approx(v) for v in (5.4, 5.04, 5.76, 170.0))),
        AxisMark("T", pytest.approx(7.2), None, None, pytest.approx(320.0)),
    )
    old = curve_content(state(shown, since_received_s=9.0), of_consumption=False).plot
    assert old.points[0].stale
    at_rest = changed(shown, speed_mps=0.2)
    assert curve_content(state(at_rest), of_consumption=False).plot.points == ()


def test_marks_on_a_curve_through_water_are_speeds_through_water() -> None:
    shown = snapshot(
        curve=THROUGH_WATER,
        best_speed_mps=Figure(1.5),
        set_and_drift=HEAD_WATER,
        course_deg=90.0,
    )
    plot = curve_content(state(shown), of_consumption=False).plot
    assert plot.title[0] == " battery power, speed through water"
    assert plot.points[0].x == pytest.approx(2.5 * 3.6)
    assert plot.marks[0].x == pytest.approx(1.79 * 3.6)
    unknown = changed(shown, set_and_drift=QUIET)
    plot = curve_content(state(unknown), of_consumption=False).plot
    assert (plot.points, plot.marks) == ((), ())


def test_without_a_curve_there_is_advice() -> None:
    learning = snapshot(curve=Unknown(Reason.TOO_FEW_STRETCHES))
    content = curve_content(state(learning), of_consumption=False)
    assert content.plot.why == f"no curve yet: too few steady stretches. {LEARN}"
    one = snapshot(
        curve=changed(CURVE, speed_mps=(1.0,), power_w=(9.0,), low_w=(8.0,), high_w=(9.0,))
    )
    content = curve_content(state(one), of_consumption=False)
    assert content.plot.why == f"no curve yet: only one speed is known. {LEARN}"
    assert (
        curve_content(waiting(), of_consumption=True).plot.why
        == f"no curve yet: no data yet. {LEARN}"
    )


@pytest.mark.parametrize(
    ("changes", "notes"),
    [
        ({}, ("* now", "B best 5.4 km/h", "T target 7.2 km/h")),
        # nothing is named that is not drawn
        ({"power_w": Unknown(Reason.NO_DATA)}, ("B best 5.4 km/h", "T target 7.2 km/h")),
        (
            {"curve__speed_kind": "through_water", "set_and_drift": Unknown(Reason.NOT_STATED)},
            ("* now: water not known",),
        ),
    ],
)
def test_the_notes_name_what_is_drawn(changes: dict[str, Any], notes: tuple[str, ...]) -> None:
    shown = state(made_snapshot(**changes))
    assert curve_content(shown, of_consumption=False).notes == notes
