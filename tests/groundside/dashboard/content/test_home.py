"""Content of the home view: the verdict, the direction, the advice."""

from typing import Any

import pytest

from groundside.dashboard.content.home import UNTIL_KNOWN, HomeContent, home_content
from groundside.words.units import CHOICES
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import snapshot, state, waiting
from tests.made_snapshot import HOME, changed

QUIET = Unknown(Reason.QUIET, age_s=7.0)
OLD = {"since_received_s": 3.0}
RIDE_STEADILY = "Ride straight for half a minute at one speed."
MEND_GPS = "Give the GPS a clear view of the sky, or check its wiring."
STATE_BATTERY = "State the battery in the craft profile."
NEAREST_SHORE = "The water runs faster than any speed tried: make for the nearest shore."
NO_FURTHER = "Go no further out, and no faster."
NEARER = "The reserve goes into it: land nearer if you can."


def content(way: dict[str, Any], more: dict[str, Any] | None = None, **shown: Any) -> HomeContent:
    home = changed(HOME, **way)
    return home_content(state(snapshot(home=home, **shown), **(more or {})))


@pytest.mark.parametrize(
    ("way", "more", "verdict"),
    [
        ({}, {}, "enough"),
        ({"margin_wh": Figure(40.0)}, {}, "enough"),
        ({"margin_wh": Figure(40.0, 0.0, 80.0)}, {}, "enough"),
        ({"margin_wh": Figure(40.0, -1.0, 80.0)}, {}, "only just"),
        ({"margin_wh": Figure(-1.0, -40.0, 40.0)}, {}, "not enough"),
        ({"margin_wh": Figure(-1.0)}, {}, "not enough"),
        ({"margin_wh": QUIET}, {}, "not known"),
        ({"turn_back": QUIET}, {}, "not known"),
        ({"turn_back": True}, {}, "turn back"),
        ({"turn_back": True, "margin_wh": QUIET}, {}, "turn back"),
        # stale data are marked, but never in place of the advice to turn back
        ({}, OLD, "STALE"),
        ({"margin_wh": Figure(-1.0)}, OLD, "STALE"),
        ({"turn_back": True}, OLD, "turn back"),
    ],
)
def test_the_verdict(way: dict[str, Any], more: dict[str, Any], verdict: str) -> None:
    shown = content(way, more)
    assert shown.verdict == verdict
    assert shown.old is bool(more)
    assert shown.cue.word == ("turn" if verdict == "turn back" else "")


@pytest.mark.parametrize(
    ("way", "more", "do"),
    [
        ({}, {}, ()),
        (
            {"margin_wh": Figure(40.0, -1.0, 80.0)},
            {},
            ("Go no further out: it may not be enough.",),
        ),
        (
            {"margin_wh": Figure(-1.0)},
            {},
            ("The way home goes into the reserve: land nearer if you can.",),
        ),
        ({"margin_wh": QUIET}, {}, (UNTIL_KNOWN,)),
        ({}, OLD, ("The data are old: judge the way home by what you see.",)),
        ({"distance_m": 29.9, "margin_wh": QUIET}, {}, ()),
        # course 83 deg; 2 m/s are 7.2 km/h
        ({"turn_back": True}, {}, ("Turn right now, go home at 7.2 km/h.", NO_FURTHER)),
        (
            {"turn_back": True, "bearing_deg": 23.0},
            {},
            ("Turn left now, go home at 7.2 km/h.", NO_FURTHER),
        ),
        (
            {"turn_back": True, "bearing_deg": 108.0},
            {},
            ("Go on straight home at 7.2 km/h.", NO_FURTHER),
        ),
        (
            {"turn_back": True, "margin_wh": Figure(-3.0), "speed_mps": QUIET},
            {},
            ("Turn right now, go home.", NEARER),
        ),
        ({"turn_back": True}, OLD, ("Data old: head home now at 7.2 km/h.", NO_FURTHER)),
    ],
)
def test_the_advice(way: dict[str, Any], more: dict[str, Any], do: tuple[str, ...]) -> None:
    assert content(way, more).do == do


def test_without_a_direction_of_its_own_the_rider_heads_home() -> None:
    shown = content({"turn_back": True}, course_deg=QUIET, heading_deg=QUIET)
    assert shown.do[0] == "Head home now at 7.2 km/h."
    assert shown.arrow_deg is None
    assert shown.turn == (
        "bearing 123 deg",
        "bearing 123 deg; your own course and heading are not known",
    )


@pytest.mark.parametrize(
    ("way", "more", "arrow", "turn"),
    [
        (
            {},
            {},
            45,
            (
                "40 deg to the right, bearing 123",
                "home is 40 deg to the right of your course, bearing 123 deg",
            ),
        ),
        (
            {"bearing_deg": 263.4},
            {},
            180,
            ("straight behind, bearing 263", "home is straight behind, bearing 263 deg"),
        ),
        (
            {"bearing_deg": 359.8},
            {},
            270,
            (
                "85 deg to the left, bearing 000",
                "home is 85 deg to the left of your course, bearing 000 deg",
            ),
        ),
        ({}, OLD, None, ("bearing was 123 deg", "bearing was 123 deg when the data ended")),
        (
            {"distance_m": 29.9},
            {},
            None,
            ("you are at home", "you are at home, within 30 m"),
        ),
    ],
)
def test_the_direction_home(
    way: dict[str, Any], more: dict[str, Any], arrow: int | None, turn: tuple[str, str]
) -> None:
    shown = content(way, more)
    assert shown.arrow_deg == arrow
    assert shown.turn == turn


def test_at_rest_the_arrow_is_relative_to_the_bow() -> None:
    shown = content({}, speed_mps=0.2, course_deg=300.0, heading_deg=123.0)
    assert shown.arrow_deg == 0
    assert shown.turn[1] == "home is straight ahead, bearing 123 deg"
    aside = content({}, speed_mps=0.2, course_deg=300.0, heading_deg=33.0)
    assert aside.turn[1] == "home is 90 deg to the right of the bow, bearing 123 deg"


@pytest.mark.parametrize(
    ("way", "units", "cost"),
    [
        # 760 m at 2 m/s are 380 s, 6 min 20 s; 2 m/s are 3.9 kn
        ({}, "km/h", ("takes 31 Wh (29 to 33)", "6 min at 7.2 km/h")),
        ({}, "kn", ("takes 31 Wh (29 to 33)", "6 min at 3.9 kn")),
        (
            {"energy_wh": Figure(5.25), "distance_m": 9_000.0},
            "km/h",
            ("takes 5.2 Wh", "1 h 15 at 7.2 km/h"),
        ),
        ({"distance_m": 100.0}, "km/h", ("takes 31 Wh (29 to 33)", "50 s at 7.2 km/h")),
        (
            {"energy_wh": QUIET, "speed_mps": QUIET},
            "km/h",
            ("energy not known: nothing for 7 s", "time not known: nothing for 7 s"),
        ),
        (
            {"speed_mps": 0.0},
            "km/h",
            ("takes 31 Wh (29 to 33)", "time not known: no speed makes way"),
        ),
        # longer than any float: no time either
        (
            {"speed_mps": 1e-300, "distance_m": 1e9},
            "km/h",
            ("takes 31 Wh (29 to 33)", "time not known: no speed makes way"),
        ),
    ],
)
def test_the_cost_of_the_way(way: dict[str, Any], units: str, cost: tuple[str, str]) -> None:
    assert content(way, {"units": CHOICES[units]}).cost == cost


def test_the_big_figures() -> None:
    shown = content({})
    assert (shown.distance.digits, shown.distance.unit) == ("0.76", "km")
    assert (shown.margin.digits, shown.margin.unit) == ("540", "Wh")
    assert shown.margin.interval == "513 to 567"
    assert content({}, {"units": CHOICES["kn"]}).distance.digits == "0.41"
    old = content({}, OLD)
    assert old.distance.stale
    assert old.margin.stale
    far = content({"distance_m": 9e8, "margin_wh": Figure(9e6)})
    assert far.distance.digits is far.margin.digits is None
    assert "set home anew" in far.distance.why
    assert content({"margin_wh": QUIET}).margin.why == "nothing for 7 s"


@pytest.mark.parametrize(
    ("code", "do"),
    [
        (Reason.NO_STEADY_STRETCH, (RIDE_STEADILY, UNTIL_KNOWN)),
        (Reason.TOO_FEW_STRETCHES, (RIDE_STEADILY, UNTIL_KNOWN)),
        (Reason.NO_POSITION, (MEND_GPS, UNTIL_KNOWN)),
        (Reason.NO_BATTERY, (STATE_BATTERY, UNTIL_KNOWN)),
        (Reason.NO_PROGRESS, (NEAREST_SHORE, UNTIL_KNOWN)),
        (Reason.NO_CURVE, (UNTIL_KNOWN,)),
    ],
)
def test_an_unknown_way_has_advice_on_how_to_know_it(code: Reason, do: tuple[str, ...]) -> None:
    shown = home_content(state(snapshot(home=Unknown(code))))
    assert shown.verdict == "not known"
    assert shown.do == do
    assert shown.why
    assert home_content(state(snapshot(home=Unknown(code)), **OLD)).verdict == "STALE"


def test_before_the_first_snapshot_nothing_is_known_of_the_way() -> None:
    shown = home_content(waiting(since_received_s=9.0))
    assert (shown.verdict, shown.why, shown.do) == ("not known", "no data yet", (UNTIL_KNOWN,))
    assert shown.water == ""
    assert not shown.old
