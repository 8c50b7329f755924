"""The trip's line: bounded, evenly thinned, and the same after a round trip through JSON."""

import dataclasses
import functools
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.contract.codec import ContractError, plain, read
from onboard.contract.trip_line import POINTS_MOST, TripLine
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.trip.trip_line import FUSED_PLACE, GrowingLine
from tests.onboard.efficiency.test_engine_partition import fold, stream


def filled(seconds: int) -> GrowingLine:
    line = GrowingLine()
    for second in range(seconds):
        line.add(float(second), 2.0 * second, 0.1 * second, place_at(second))
    return line


def place_at(second: float) -> tuple[float, float] | None:
    """Return a place on a track to the north-east, unknown every fifth second."""
    return None if second % 5 == 3 else (45.0 + 1e-5 * second, -30.0 + 2e-5 * second)


@pytest.mark.parametrize("seconds", [1, 399, 400, 801, 100_000])
def test_it_stays_bounded_and_even(seconds: int) -> None:
    line = filled(seconds)
    assert len(line.t_s) < POINTS_MOST
    steps = {b - a for a, b in zip(line.t_s, line.t_s[1:], strict=False)}
    assert steps <= {line.every_s}
    assert seconds - 1 - line.t_s[-1] < line.every_s
    assert line.distance_m == [2.0 * t_s for t_s in line.t_s]
    assert line.position_deg == [place_at(t_s) for t_s in line.t_s]


def test_time_that_goes_back_begins_a_new_line() -> None:
    line = filled(1000)
    line.add(5.0, 1.0, 2.0)
    assert (line.t_s, line.distance_m, line.energy_wh, line.every_s) == ([5.0], [1.0], [2.0], 1.0)
    assert line.position_deg == [None]


def test_it_survives_a_round_trip_through_json() -> None:
    line = filled(1000)
    back = GrowingLine.of(read(TripLine, json.loads(json.dumps(plain(line.record())))))
    assert (back.t_s, back.every_s) == (line.t_s, line.every_s)
    assert back.energy_wh == pytest.approx(line.energy_wh, abs=0.005)
    assert back.position_deg == line.position_deg
    assert None in back.position_deg
    back.add(1000.0, 1.0, 2.0)
    assert back.t_s[-1] == 1000.0


@pytest.mark.parametrize(
    "change",
    [
        {"t_s": [0.0, 0.0]},
        {"t_s": [0.0, "1"]},
        {"t_s": [0.0, None]},
        {"t_s": [0.0]},
        {"t_s": 3},
        {"distance_m": [0.0, float("inf")]},
        {"every_s": None},
        {"t_s": [0.0, True]},
        {"position_deg": [[45.0, -30.0]]},
        {"position_deg": [[45.0, -30.0], [45.0]]},
        {"position_deg": [[45.0, -30.0], [45.0, None]]},
        {"position_deg": [[45.0, -30.0], [45.0, float("nan")]]},
        {"position_deg": None},
    ],
)
def test_nonsense_is_refused(change) -> None:
    sound = {"t_s": [0.0, 1.0], "distance_m": [0.0, 2.0], "energy_wh": [0.0, 0.1], "every_s": 1.0}
    read(TripLine, sound)
    with pytest.raises(ContractError):
        read(TripLine, {**sound, **change})


def test_a_line_of_a_daemon_older_than_the_positions_has_none() -> None:
    old = {"t_s": [0.0, 1.0], "distance_m": [0.0, 2.0], "energy_wh": [0.0, 0.1], "every_s": 1.0}
    assert read(TripLine, old).position_deg == (None, None)
    assert GrowingLine.of(read(TripLine, old)).record().position_deg == (None, None)


def test_positions_are_sent_to_a_metre() -> None:
    sent = TripLine((1.0, 2.0), (0.0, 2.0), (0.0, 0.1), 1.0, ((45.000014999, -30.0), None))
    assert sent.rounded().position_deg == ((45.00001, -30.0), None)
    # a degree of a meridian is 111.7 km at most, at the poles (WGS 84)
    assert 111_700.0 * 0.5e-5 < 1.0


def settled(**places: list[float]) -> SettledSeconds:
    """Return seconds in which both meters count."""
    (count,) = {len(column) for column in places.values()}
    nothing = np.full(count, np.nan)
    counted = np.arange(count, dtype=float)
    columns = {one.name: nothing for one in dataclasses.fields(SettledSeconds)}
    columns |= dict.fromkeys(("t_s", "energy_wh", "made_m"), counted)
    own = {name: np.array(places[name]) for name in ("latitude_deg", "longitude_deg")}
    readings = {}
    if "fused_latitude" in places:
        fused = (np.array(places["fused_latitude"]), np.array(places["fused_longitude"]))
        readings = dict(zip(FUSED_PLACE, fused, strict=True))
    return SettledSeconds(**columns | own | {"readings": readings})  # type: ignore[arg-type]


def test_where_the_gps_gives_no_position_the_autopilot_s_counts() -> None:
    nan = float("nan")
    line = GrowingLine()
    line.fold(
        settled(
            latitude_deg=[45.0, nan, 45.2, nan],
            longitude_deg=[-30.0, -30.1, nan, nan],
            fused_latitude=[44.0, 44.1, 44.2, nan],
            fused_longitude=[-31.0, -31.1, -31.2, -31.3],
        )
    )
    assert line.position_deg == [(45.0, -30.0), (44.1, -31.1), (44.2, -31.2), None]
    alone = GrowingLine()
    alone.fold(settled(latitude_deg=[45.0, nan], longitude_deg=[-30.0, -30.1]))
    assert alone.position_deg == [(45.0, -30.0), None]


@functools.cache
def line_of_the_whole() -> TripLine:
    return fold(stream(11, 200.0), []).trip_line


@given(st.lists(st.floats(0, 1), max_size=20).map(sorted))
def test_the_engines_line_does_not_depend_on_the_partition(cuts) -> None:
    whole, pieces = line_of_the_whole(), fold(stream(11, 200.0), cuts).trip_line
    assert len(whole.t_s) > 100
    assert pieces.t_s == whole.t_s
    assert pieces.distance_m == pytest.approx(whole.distance_m, rel=1e-9)
    assert pieces.energy_wh == pytest.approx(whole.energy_wh, rel=1e-9)
    assert sum(place is not None for place in whole.position_deg) > 100
    assert pieces.position_deg == whole.position_deg
