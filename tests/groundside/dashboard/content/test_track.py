"""Content of the track: places against an independent computation, classes, gaps, reasons."""

import math
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from groundside.dashboard.content.track import (
    AT_REST_M,
    NEAR_M,
    UNLIKE,
    length_units,
    track_content,
)
from groundside.words.units import CHOICES
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.trip_line import Position, TripLine
from tests.groundside.dashboard.steered_app import snapshot, state, waiting
from tests.made_snapshot import HOME, changed

START = (45.0, -30.0)


def gone(place: Position, bearing_deg: float, distance_m: float) -> Position:
    """Return the position on the WGS 84 ellipsoid after a distance, by GeographicLib."""
    there = Geodesic.WGS84.Direct(*place, bearing_deg, distance_m)
    return there["lat2"], there["lon2"]


def line_of(
    legs: list[tuple[float, int, float]], start: Position = START, **changes: Any
) -> TripLine:
    """Return a ride at 2 m/s with a point a second, of legs: (bearing, seconds, Wh/km)."""
    places, energy = [start], [0.0]
    for bearing_deg, seconds, wh_per_km in legs:
        corner = places[-1]
        places += [gone(corner, bearing_deg, 2.0 * (n + 1)) for n in range(seconds)]
        energy += [energy[-1] + wh_per_km * 0.002 * (n + 1) for n in range(seconds)]
    times = tuple(float(n) for n in range(len(places)))
    made = tuple(2.0 * t_s for t_s in times)
    columns = {"t_s": times, "distance_m": made, "energy_wh": tuple(energy)}
    return TripLine(**{**columns, "position_deg": tuple(places), **changes})


def shown(line: TripLine, here: Position | Estimate | None = None, **more: Any) -> Any:
    place = line.position_deg[-1] if here is None else here
    home = more.pop("home", Unknown(Reason.NO_POSITION))
    riding = snapshot(t_s=more.pop("t_s", line.t_s[-1]), position_deg=place, home=home)
    return track_content(state(riding, trip_line=line, **more))


@pytest.mark.parametrize("start", [START, (-33.9, 151.2), (69.6, 18.9), (0.0, 179.9999)])
@pytest.mark.parametrize("bearing_deg", [0.0, 37.0, 90.0, 200.0, 305.0])
def test_places_are_those_of_the_ellipsoid(start: Position, bearing_deg: float) -> None:
    line = line_of([(bearing_deg, 300, 50.0)], start)
    (piece,) = shown(line).pieces
    for t_s, east, north in zip(piece.t_s, piece.east_m, piece.north_m, strict=True):
        inverse = Geodesic.WGS84.Inverse(*start, *line.position_deg[int(t_s)])
        assert math.hypot(east, north) == pytest.approx(inverse["s12"], abs=0.01)
        if t_s:
            # the bearing changes on the way: at 70 deg of latitude by 0.08 m after 600 m
            azimuth, away = math.radians(inverse["azi1"]), inverse["s12"]
            assert east == pytest.approx(away * math.sin(azimuth), abs=0.1)
            assert north == pytest.approx(away * math.cos(azimuth), abs=0.1)


def test_the_craft_and_home_are_where_the_snapshot_says() -> None:
    line = line_of([(20.0, 390, 50.0)])
    here = line.position_deg[-1]
    inverse = Geodesic.WGS84.Inverse(*here, *START)
    home = changed(HOME, distance_m=inverse["s12"], bearing_deg=inverse["azi1"] % 360.0)
    content = shown(line, home=home)
    inverse = Geodesic.WGS84.Inverse(*START, *here)
    azimuth = math.radians(inverse["azi1"])
    expected = (inverse["s12"] * math.sin(azimuth), inverse["s12"] * math.cos(azimuth))
    assert content.craft.place == pytest.approx(expected, abs=0.05)
    assert content.home == pytest.approx((0.0, 0.0), abs=0.05)


@pytest.mark.parametrize(
    ("changes", "ahead_deg"),
    [
        ({}, 80.0),
        ({"heading_deg": Unknown(Reason.NOT_HEARD)}, 83.0),
        ({"heading_deg": Unknown(Reason.NOT_HEARD), "course_deg": Unknown(Reason.NO_COURSE)}, None),
    ],
)
def test_the_bow_points_along_the_heading_else_the_course(changes: Any, ahead_deg: Any) -> None:
    content = track_content(state(snapshot(position_deg=START, **changes)))
    assert content.craft.ahead_deg == ahead_deg


@pytest.mark.parametrize("units", ["km/h", "kn", "mph"])
def test_the_way_is_in_three_classes_of_consumption(units: str) -> None:
    line = line_of([(0.0, 130, 40.0), (90.0, 130, 60.0), (180.0, 130, 90.0)])
    content = shown(line, units=CHOICES[units])
    (piece,) = content.pieces
    at = dict(zip(piece.t_s, piece.shade, strict=True))
    # within each leg, well after its start: a mean looks 20 s back
    for begin, shade in ((0, 0), (130, 1), (260, 2)):
        inside = {shade for t_s, shade in at.items() if begin + 30 <= t_s <= begin + 125}
        assert inside == {shade}
    low, high = (CHOICES[units].consumption(limit) for limit in (40.0, 90.0))
    assert low <= content.limits[0] < content.limits[1] <= high
    assert content.cost_unit == CHOICES[units].consumption_name


def test_an_even_ride_is_of_one_class() -> None:
    rng = np.random.default_rng(1)
    legs = [(0.0, 30, 50.0 * (1.0 + 0.02 * noise)) for noise in rng.standard_normal(13)]
    content = shown(line_of(legs))
    known = {shade for piece in content.pieces for shade in piece.shade if shade is not None}
    assert known == {1}
    assert content.limits == pytest.approx((50.0 * (1 - UNLIKE), 50.0 * (1 + UNLIKE)), rel=0.03)


@pytest.mark.parametrize("without", ["positions", "seconds"])
def test_a_gap_in_the_data_is_a_gap_in_the_way(without: str) -> None:
    line = line_of([(0.0, 300, 50.0)])
    if without == "positions":
        places = tuple(
            None if 100 <= n < 130 else place for n, place in enumerate(line.position_deg)
        )
        line = line_of([(0.0, 300, 50.0)], position_deg=places)
    else:
        kept = [n for n in range(301) if not 100 <= n < 130]
        names = ("t_s", "distance_m", "energy_wh", "position_deg")
        line = TripLine(**{name: tuple(getattr(line, name)[n] for n in kept) for name in names})
    first, second = shown(line).pieces
    assert first.t_s[-1] < 100.0
    assert second.t_s[0] == 130.0


def test_noise_at_rest_does_not_scribble() -> None:
    """At anchor for an hour the GPS wanders by metres, while hardly any way is made."""
    rng = np.random.default_rng(2)
    count = 360
    wander = np.cumsum(rng.normal(0.0, 0.4, (2, count)), axis=1) + rng.normal(0.0, 1.5, (2, count))
    places = tuple(
        (START[0] + north / 111_132.0, START[1] + east / 78_847.0) for east, north in wander.T
    )
    made = tuple(2.0 * n / count for n in range(count))
    times = tuple(10.0 * n for n in range(count))
    line = TripLine(times, made, tuple(0.001 * n for n in range(count)), 10.0, places)
    assert np.ptp(wander, axis=1).max() > 3 * AT_REST_M
    assert shown(line).pieces == ()


@pytest.mark.parametrize("wrong", [0, 1, 150, 300])
def test_a_wrong_fix_does_not_spoil_the_picture(wrong: int) -> None:
    line = line_of([(0.0, 300, 50.0)])
    places = list(line.position_deg)
    places[wrong] = (12.0, 100.0)
    content = shown(line_of([(0.0, 300, 50.0)], position_deg=tuple(places)), here=START)
    assert content.pieces
    for piece in content.pieces:
        assert max(map(abs, piece.east_m)) < 1.0
        assert max(map(abs, piece.north_m)) < 601.0
    drawn = sum(piece.north_m[-1] - piece.north_m[0] for piece in content.pieces)
    assert drawn > 560.0


def test_home_too_far_to_be_true_is_not_drawn() -> None:
    line = line_of([(0.0, 60, 50.0)])
    assert shown(line, home=changed(HOME, distance_m=1e300)).home is None
    assert shown(line, home=changed(HOME, distance_m=-5.0)).home is None
    assert shown(line, home=changed(HOME, distance_m=20_000.0)).home is not None


def test_what_lies_ahead_in_a_saved_ride_is_told_apart() -> None:
    line = line_of([(0.0, 300, 50.0)])
    assert shown(line, t_s=120.0, can_seek=True).now_s == 120.0
    assert shown(line, t_s=120.0).now_s is None


@pytest.mark.parametrize(
    ("position", "words"),
    [
        (Unknown(Reason.NO_FIX), "no GPS fix"),
        (Unknown(Reason.NO_GPS), "no GPS heard yet"),
        ((1e6, 0.0), "no position is known"),
    ],
)
def test_without_any_position_it_says_why(position: Any, words: str) -> None:
    bare = line_of([(0.0, 60, 50.0)], position_deg=())
    content = shown(bare, here=position)
    assert content.pieces == ()
    assert words in content.why


def test_before_the_first_snapshot_it_says_why() -> None:
    assert "no track yet" in track_content(waiting()).why


def test_a_line_of_an_older_daemon_shows_the_craft() -> None:
    content = shown(line_of([(0.0, 60, 50.0)], position_deg=()), here=START)
    assert content.why is None
    assert content.pieces == ()
    assert content.craft.place == (0.0, 0.0)


def test_a_lost_position_keeps_the_way() -> None:
    content = shown(line_of([(0.0, 60, 50.0)]), here=Unknown(Reason.NO_FIX))
    assert (content.craft, content.home, content.why) == (None, None, None)
    assert len(content.pieces) == 1


def test_stale_data_mark_the_craft_only() -> None:
    content = shown(line_of([(0.0, 60, 50.0)]), since_received_s=60.0)
    assert content.craft.stale
    assert content == shown(line_of([(0.0, 60, 50.0)]), since_received_s=90.0)


def test_no_consumption_is_no_class() -> None:
    line = line_of([(0.0, 8, 50.0)])
    content = shown(line)
    assert content.cost_unit == ""
    assert {shade for piece in content.pieces for shade in piece.shade} == {None}
    nothing_drawn = line_of([(0.0, 100, 0.0)])
    assert shown(nothing_drawn).cost_unit == ""


def test_near_shows_what_is_around_the_craft() -> None:
    assert track_content(state(snapshot()), near=True).near_m == NEAR_M
    assert track_content(state(snapshot())).near_m is None


@pytest.mark.parametrize(
    ("units", "expected"),
    [
        ("km/h", (("km", 1000.0, 1.0), ("m", 1.0, 0.0))),
        ("kn", (("NM", 1852.0, 0.1), ("m", 1.0, 0.0))),
        ("mph", (("mi", 1609.344, 0.1), ("m", 1.0, 0.0))),
    ],
)
def test_the_scale_s_units(units: str, expected: Any) -> None:
    assert length_units(CHOICES[units]) == expected


def test_home_is_not_drawn_where_its_way_is_unknown() -> None:
    assert shown(line_of([(0.0, 60, 50.0)])).home is None
    assert shown(line_of([(0.0, 60, 50.0)]), home=HOME).home is not None
    assert isinstance(HOME.energy_wh, Figure)
