"""The way in dots: its width, its side, what looks different."""

import itertools
import math

import pytest

from groundside.dashboard.drawing.track_content import TrackPiece
from groundside.dashboard.drawing.track_frame import TrackFrame
from groundside.dashboard.drawing.track_strokes import (
    AHEAD,
    CHEAP,
    DEAR,
    LANE_DOTS,
    MIDDLE,
    UNKNOWN,
    Strokes,
)

FRAME = TrackFrame((0.0, 0.0), 1.0, 80, 80)


def dots_of(strokes: Strokes) -> set[tuple[int, int]]:
    """Return the dots set, right and down from the top left, as read from the characters."""
    bits = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
    canvas = strokes.canvas
    return {
        (x, y)
        for x in range(canvas.wide)
        for y in range(canvas.high)
        if ord(canvas.char(x // 2, y // 4)) & bits[y % 4][x % 2] and canvas.is_set(x // 2, y // 4)
    }


def drawn(
    places: list[tuple[float, float]], shade: int | None = 0, now_s: float | None = None
) -> Strokes:
    """Draw a way through places, a second apart."""
    east, north = zip(*places, strict=True)
    times = tuple(map(float, range(len(places))))
    strokes = Strokes(40, 20)
    strokes.draw(TrackPiece(times, east, north, (shade,) * len(places)), FRAME, now_s)
    return strokes


@pytest.mark.parametrize("along", ["north", "east"])
@pytest.mark.parametrize(("shade", "wide"), [(0, 1), (1, 2), (2, 3)])
def test_the_dearer_the_wider(along: str, shade: int, wide: int) -> None:
    way = [(0.0, -30.0), (0.0, 30.0)] if along == "north" else [(-30.0, 0.0), (30.0, 0.0)]
    across = [0, 1][along == "east"]
    dots = dots_of(drawn(way, shade))
    middle = {dot[across] for dot in dots if dot[1 - across] == 40}
    assert len(middle) == wide
    assert len({dot[1 - across] for dot in dots}) >= 60


@pytest.mark.parametrize(("now_s", "shade", "every"), [(0.0, 2, 3), (None, None, 2)])
def test_what_is_ahead_or_unknown_is_dotted(now_s: float | None, shade: int, every: int) -> None:
    dots = dots_of(drawn([(-30.0, 0.0), (30.0, 0.0)], shade, now_s))
    places = sorted(x for x, _ in dots)
    assert {b - a for a, b in itertools.pairwise(places)} == {every}
    assert len({y for _, y in dots}) == 1


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 45.0, 90.0, 200.0, 300.0])
@pytest.mark.parametrize("shade", [0, 1, 2])
def test_out_and_back_on_one_line_are_apart(angle_deg: float, shade: int) -> None:
    right, up = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    ends = [(-30.0 * right, -30.0 * up), (30.0 * right, 30.0 * up)]
    out, back = dots_of(drawn(ends, shade)), dots_of(drawn(ends[::-1], shade))
    assert out & back == set()
    for dots, side in ((out, 1.0), (back, -1.0)):
        # each is to the right of its own direction: east, when going north
        for x, y in dots:
            aside = (x - 39.5) * up - (39.5 - y) * right
            assert side * aside == pytest.approx(LANE_DOTS, abs=2.2)


def test_a_gap_is_not_drawn_across() -> None:
    strokes = Strokes(40, 20)
    for north in (-30.0, 20.0):
        piece = TrackPiece((0.0, 1.0), (0.0, 0.0), (north, north + 10.0), (0, 0))
        strokes.draw(piece, FRAME, None)
    rows = {y for _, y in dots_of(strokes)}
    assert rows == {*range(10, 21), *range(60, 71)} or rows == {*range(9, 21), *range(59, 71)}


def test_the_highest_class_of_a_cell_shows() -> None:
    assert AHEAD < UNKNOWN < CHEAP < MIDDLE < DEAR
    strokes = drawn([(-30.0, 0.0), (30.0, 0.0)], 2)
    before = list(strokes.rank)
    strokes.draw(TrackPiece((0.0, 1.0), (-30.0, 30.0), (0.0, 0.0), (0, 0)), FRAME, None)
    assert strokes.rank == before
    assert set(before) == {-1, DEAR}


@pytest.mark.parametrize(
    ("to", "sign"), [((0, 35), "▲"), ((35, 0), "►"), ((0, -35), "▼"), ((-35, 0), "◄")]
)
def test_arrowheads_point_along_the_way(to: tuple[int, int], sign: str) -> None:
    places = [(n / 20 * to[0], n / 20 * to[1]) for n in range(21)]
    strokes = drawn(places)
    assert {arrow.sign for arrow in strokes.arrows} == {sign}
    dots = dots_of(strokes)
    for arrow in strokes.arrows:
        assert any((x // 2, y // 4) == (arrow.column, arrow.row) for x, y in dots)


def test_what_lies_ahead_has_no_arrowheads() -> None:
    places = [(0.0, -30.0 + n) for n in range(60)]
    assert drawn(places, now_s=0.0).arrows == []
    assert drawn(places).arrows != []


def test_a_way_far_outside_costs_and_shows_nothing() -> None:
    far = drawn([(1e7, 1e7), (1e7 + 50.0, 1e7)])
    assert dots_of(far) == set()
    through = dots_of(drawn([(-1e6, 0.0), (1e6, 0.0)]))
    assert {x for x, _ in through} == set(range(80))
    assert len({y for _, y in through}) == 1
