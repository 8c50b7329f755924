"""Reading figures out of a snapshot that may hold anything, and writing them."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.dashboard.aiming import Aiming
from groundside.dashboard.faces.aim import aim_face
from groundside.dashboard.faces.craft import craft_blocks
from groundside.dashboard.faces.curve import curve_face
from groundside.dashboard.faces.home import home_face
from groundside.dashboard.faces.ride import ride_face
from groundside.dashboard.faces.runs import runs_face
from groundside.dashboard.faces.trip import PANELS, trip_face
from groundside.dashboard.scene import Scene
from groundside.figures import (
    NO_REASON,
    Reading,
    age_text,
    clock_text,
    number,
    one_decimal,
    reading,
    text_of,
    three_figures,
    whole,
)
from groundside.plain import line_of, trip_summary_lines
from groundside.units import CHOICES
from tests.groundside.dashboard_help import SNAPSHOT


def test_a_null_takes_the_reason_beside_it() -> None:
    snapshot = {"wh_per_km": {"trip": None, "why": {"trip": "not moved yet"}}}
    assert reading(snapshot, "wh_per_km", "trip") == Reading(None, why="not moved yet")


def test_a_null_object_takes_the_reason_of_the_object_above() -> None:
    snapshot = {"battery": None, "why": {"battery": "no battery in the profile"}}
    assert reading(snapshot, "battery", "left_wh").why == "no battery in the profile"


def test_an_absent_key_is_unknown_and_never_zero() -> None:
    assert reading({}, "power_w") == Reading(None, why=NO_REASON)
    assert reading(None, "power_w").value is None


def test_half_an_interval_is_none() -> None:
    assert reading({"x": {"value": 1, "low": 0, "high": None}}, "x") == Reading(1.0)


@pytest.mark.parametrize("raw", ["12", True, [1], math.nan, math.inf, 10**400, {"low": 1}])
def test_what_is_no_number_is_unknown(raw: object) -> None:
    assert reading({"x": raw}, "x").value is None


def test_control_characters_do_not_reach_the_terminal() -> None:
    assert text_of("low\x1b[31m \n battery\x07") == "low [31m battery"


def test_no_minus_nought() -> None:
    assert (three_figures(-0.001), one_decimal(-0.04), whole(-0.4)) == ("0.00", "0.0", "0")
    assert one_decimal(-0.4) == "-0.4"


def test_lengths_of_time() -> None:
    assert clock_text(3723.9) == "01:02:03"
    assert (age_text(59.7), age_text(3599.8)) == ("1 min 00 s", "1 h 00 min")


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["value", "low", "high", "why", "now", "trip", "cue", "text", "level"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=8,
)


@pytest.mark.slow
@given(st.dictionaries(st.sampled_from(sorted(SNAPSHOT)), JSON), st.floats(0, 1e6))
def test_no_snapshot_breaks_a_viewer(changes: dict[str, object], since_received_s: float) -> None:
    snapshot = {**SNAPSHOT, **changes}
    units = CHOICES["kn"]
    line = line_of(snapshot, units, since_received_s)
    scene = Scene(snapshot, units, since_received_s=since_received_s, target_distance_m=5.0)
    face = ride_face(scene)
    assert "\n" not in line
    assert not any("nan" in cell.text or "inf" in cell.text for cell in face.cells)
    assert set(face.consumption.digits) <= set("0123456789.-")
    assert set(face.range.digits) <= set("0123456789.-")
    assert len(trip_summary_lines(snapshot, units)) == 11
    assert craft_blocks(scene)[0]
    assert home_face(scene).do or home_face(scene).distance.digits
    assert runs_face(scene).next
    assert aim_face(scene, Aiming()).blocks
    assert all(curve_face(scene, of_consumption=of).plot for of in (True, False))
    assert len(trip_face(scene, PANELS, over_distance=False).plots) == 4


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_survive_json(value: float) -> None:
    assert number(json.loads(json.dumps(value))) == value
