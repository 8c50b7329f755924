"""The frame of a track: north up, one scale both ways, a scale bar of a round length."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.dashboard.content.track import length_units
from groundside.dashboard.drawing.track_content import CraftPlace, TrackContent, TrackPiece
from groundside.dashboard.drawing.track_frame import (
    LEAST_M,
    MARGIN_DOTS,
    STEPS_PER_POWER,
    TrackFrame,
    scale_bar,
    track_frame,
)
from groundside.words.units import CHOICES

METRES = st.floats(-50_000.0, 50_000.0)
SIDES = st.integers(20, 400)


def through(*places: tuple[float, float]) -> TrackContent:
    """Return a track through these places."""
    east, north = zip(*places, strict=True)
    times = tuple(map(float, range(len(places))))
    return TrackContent((TrackPiece(times, east, north, (1,) * len(places)),))


@given(METRES, METRES, SIDES, SIDES)
def test_north_is_up_and_east_to_the_right(east: float, north: float, wide: int, high: int) -> None:
    frame = track_frame(through((0.0, 0.0), (east, north)), wide, high)
    x, y = frame.dot((east, north))
    assert frame.dot((east, north + 10.0))[1] < y
    assert frame.dot((east, north + 10.0))[0] == x
    assert frame.dot((east + 10.0, north))[0] > x
    assert frame.dot((east + 10.0, north))[1] == y
    assert frame.place(x, y) == pytest.approx((east, north), abs=1e-6)


@given(METRES, METRES, SIDES, SIDES, st.floats(0.0, 360.0))
def test_a_metre_is_as_long_in_every_direction(
    east: float, north: float, wide: int, high: int, angle_deg: float
) -> None:
    frame = track_frame(through((0.0, 0.0), (east, north)), wide, high)
    right, up = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    (x0, y0), (x1, y1) = frame.dot((0.0, 0.0)), frame.dot((100.0 * right, 100.0 * up))
    assert math.hypot(x1 - x0, y1 - y0) * frame.dot_m == pytest.approx(100.0)


@given(st.lists(st.tuples(METRES, METRES), min_size=1, max_size=5), METRES, METRES, SIDES, SIDES)
def test_all_of_the_way_home_and_craft_are_in_sight(places, east, north, wide, high) -> None:
    way = through(*places)
    content = TrackContent(way.pieces, craft=CraftPlace((east, north)), home=(north, east))
    frame = track_frame(content, wide, high)
    for place in (*places, (east, north), (north, east)):
        x, y = frame.dot(place)
        assert MARGIN_DOTS - 1.0 <= x <= wide - MARGIN_DOTS
        assert MARGIN_DOTS - 1.0 <= y <= high - MARGIN_DOTS


@given(st.floats(1.0, 1e5), SIDES, SIDES)
def test_the_room_is_used(long_m: float, wide: int, high: int) -> None:
    frame = track_frame(through((0.0, 0.0), (long_m, long_m)), wide, high)
    used = long_m / frame.dot_m / (min(wide, high) - 1 - 2 * MARGIN_DOTS)
    noise = long_m * min(wide, high) < LEAST_M * (min(wide, high) - 1 - 2 * MARGIN_DOTS)
    assert used <= 1.0 + 1e-9
    assert noise or used > 10.0 ** (-1.0 / STEPS_PER_POWER) - 1e-3


def test_a_position_s_noise_is_not_blown_up() -> None:
    # 2.5 m to either side: what a GPS may wander at rest
    frame = track_frame(through((-2.5, 0.0), (2.5, 2.5)), 80, 56)
    assert 56 * frame.dot_m >= LEAST_M
    assert 5.0 / frame.dot_m < 80 / 8


def test_the_picture_holds_still_while_the_track_grows() -> None:
    frames = [track_frame(through((0.0, 0.0), (500.0 + n, 0.0)), 80, 60) for n in range(60)]
    assert len({frame.dot_m for frame in frames}) <= 3
    for one, after in itertools.pairwise(frames):
        if one.dot_m == after.dot_m:
            (x0, y0), (x1, y1) = one.dot((0.0, 0.0)), after.dot((0.0, 0.0))
            assert (x1 - x0, y1 - y0) == pytest.approx((round(x1 - x0), round(y1 - y0)), abs=1e-6)


def test_near_is_around_the_craft() -> None:
    content = TrackContent(
        through((0.0, 0.0), (9000.0, 0.0)).pieces, craft=CraftPlace((4000.0, 0.0)), near_m=300.0
    )
    frame = track_frame(content, 80, 60)
    assert frame.dot((4000.0, 0.0)) == pytest.approx((39.5, 29.5), abs=0.51)
    assert 300.0 <= 60 * frame.dot_m <= 340.0


@given(st.floats(0.05, 500.0), st.integers(8, 80), st.sampled_from(sorted(CHOICES)))
def test_the_bar_is_as_long_as_it_says(dot_m: float, most: int, units: str) -> None:
    frame = TrackFrame((0.0, 0.0), dot_m, 80, 60)
    dots, text = scale_bar(frame, length_units(CHOICES[units]), most)
    number, unit = text.split()
    unit_m = 1.0 if unit == "m" else CHOICES[units].distance_unit_m
    assert dots * dot_m == pytest.approx(float(number) * unit_m, abs=0.5 * dot_m)
    # the longest of 1, 2 and 5 times a power of ten that fits: at least 2/5 of the room,
    # unless the unit is too long to read well and metres take its place
    assert most * 0.4 - 1.0 <= dots <= most
    assert float(f"{float(number):e}".split("e")[0]) in (1.0, 2.0, 5.0)


@pytest.mark.parametrize(
    ("units", "dot_m", "text"),
    [
        ("km/h", 1.0, "20 m"),
        ("km/h", 20.0, "500 m"),
        ("km/h", 40.0, "1 km"),
        ("kn", 1.0, "20 m"),
        ("kn", 10.0, "0.1 NM"),
        ("mph", 50.0, "0.5 mi"),
    ],
)
def test_the_bar_is_in_the_reader_s_units(units: str, dot_m: float, text: str) -> None:
    frame = TrackFrame((0.0, 0.0), dot_m, 80, 60)
    assert scale_bar(frame, length_units(CHOICES[units]), 32)[1] == text
