"""The track in cells: it keeps its size; legend, scale and letters say what they mean."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundside.dashboard.drawing.painted import Line, piece_width
from groundside.dashboard.drawing.track_content import CraftPlace, TrackContent, TrackPiece
from groundside.dashboard.drawing.track_drawing import (
    CRAFT,
    HOME,
    LABEL,
    SAMPLES,
    STALE,
    STYLE_OF,
    STYLES,
    map_frame,
    track_lines,
)

WAY = TrackPiece(
    tuple(map(float, range(61))),
    tuple(0.0 for _ in range(61)),
    tuple(5.0 * n for n in range(61)),
    tuple(n // 21 for n in range(61)),
)
FULL = TrackContent(
    (WAY,),
    craft=CraftPlace((0.0, 300.0), 10.0),
    home=(0.0, 0.0),
    limits=(44.0, 61.0),
    cost_unit="Wh/km",
)


def texts(lines: list[Line]) -> list[str]:
    return ["".join(text for text, _ in line) for line in lines]


def changed(**changes: Any) -> TrackContent:
    names = ("pieces", "now_s", "craft", "home", "limits", "cost_unit", "near_m", "why")
    return TrackContent(**{name: getattr(FULL, name) for name in names} | changes)


METRES = st.floats(-1e5, 1e5)
PLACES = st.tuples(METRES, METRES)
CONTENTS = st.builds(
    lambda places, shade, craft, home, more: TrackContent(
        (
            TrackPiece(
                tuple(map(float, range(len(places)))),
                tuple(place[0] for place in places),
                tuple(place[1] for place in places),
                (shade,) * len(places),
            ),
        )
        if places
        else (),
        craft=craft,
        home=home,
        **more,
    ),
    st.lists(PLACES, max_size=6),
    st.sampled_from([None, 0, 1, 2]),
    st.none() | st.builds(CraftPlace, PLACES, st.none() | st.floats(0.0, 360.0), st.booleans()),
    st.none() | PLACES,
    st.fixed_dictionaries(
        {},
        optional={
            "now_s": st.floats(0.0, 6.0),
            "near_m": st.just(300.0),
            "cost_unit": st.just("Wh/km"),
            "why": st.just("no track yet: no GPS heard yet"),
        },
    ),
)


@settings(max_examples=150, deadline=None)
@given(CONTENTS, st.integers(1, 130), st.integers(1, 45))
def test_it_fits_any_size(content: TrackContent, width: int, height: int) -> None:
    lines = track_lines(content, width, height)
    assert len(lines) <= height
    for line in lines:
        assert piece_width(line) <= width
        assert {style for _, style in line} <= STYLES | {""}


@pytest.mark.parametrize(("width", "height"), [(40, 18), (38, 14), (60, 20), (120, 30)])
def test_it_says_which_way_is_north_how_long_and_what_the_letters_mean(
    width: int, height: int
) -> None:
    rows = texts(track_lines(FULL, width, height))
    foot = rows[-1]
    for word in ("▲ north", " m", "* now", "H home"):
        assert word in foot
    assert "*" not in foot.replace("* now", "")
    boxes = "".join(rows[1:-1])
    assert boxes.count(" *▲") == boxes.count(" H ") == 1
    assert next(n for n, row in enumerate(rows) if "*▲" in row) < next(
        n for n, row in enumerate(rows) if " H " in row and n
    )


@pytest.mark.parametrize(("width", "height"), [(40, 18), (38, 14), (60, 20)])
def test_the_bar_is_as_long_as_it_says_on_the_screen(width: int, height: int) -> None:
    foot = texts(track_lines(FULL, width, height))[-1]
    bar = "".join(char for char in foot if 0x2800 <= ord(char) < 0x2900)
    length_m = float(foot.split(bar)[1].split()[0])
    # each end is a full column of four dots: 1, 2, 3, 7 or 4, 5, 6, 8 of the Unicode block
    ends = []
    for cell, char in enumerate(bar):
        bits = ord(char) - 0x2800
        ends += [2 * cell] * (bits & 0x47 == 0x47) + [2 * cell + 1] * (bits & 0xB8 == 0xB8)
    assert ends[0] == 0
    dot_m = map_frame(FULL, width, height).dot_m
    assert (ends[-1] - ends[0]) * dot_m == pytest.approx(length_m, abs=0.5 * dot_m)


@pytest.mark.parametrize(
    ("width", "words"),
    [
        (60, ("under 44", "44 to 61", "over 61 Wh/km")),
        (40, ("<44", "44-61", ">61 Wh/km")),
        (12, ("Wh/km",)),
    ],
)
def test_the_legend_says_what_the_widths_mean(width: int, words: tuple[str, ...]) -> None:
    legend = track_lines(FULL, width, 14)[0]
    for word in words:
        assert word in "".join(text for text, _ in legend)
    if len(words) > 1:
        shown = [(text, style) for text, style in legend if style != LABEL]
        assert shown == [(sample, STYLE_OF[rank]) for rank, sample in SAMPLES.items()]


@pytest.mark.parametrize(
    ("width", "now_s", "said"), [(70, 9.0, True), (70, None, False), (40, 9.0, False)]
)
def test_the_legend_says_what_dots_mean_in_a_saved_ride_if_there_is_room(
    width: int, now_s: float | None, said: bool
) -> None:
    legend = texts(track_lines(changed(now_s=now_s), width, 14))[0]
    assert legend.endswith(" ahead") == said
    assert len(legend) <= width


def test_a_sample_of_the_legend_is_as_wide_as_its_stroke() -> None:
    widths = [bin((ord(sample[0]) - 0x2800) & 0x47).count("1") for sample in SAMPLES.values()]
    assert widths == [1, 2, 3]


def test_stale_is_hatched() -> None:
    lines = track_lines(changed(craft=CraftPlace((0.0, 300.0), 10.0, stale=True)), 40, 18)
    assert ("▒*▒", STALE) in [piece for line in lines for piece in line]
    assert not any(style == CRAFT for line in lines for _, style in line)


@pytest.mark.parametrize(
    ("ahead_deg", "box"),
    [(None, " * "), (0.0, " *▲"), (100.0, " *►"), (170.0, " *▼"), (275.0, "◄* ")],
)
def test_the_box_points_where_the_bow_does(ahead_deg: float | None, box: str) -> None:
    lines = track_lines(changed(craft=CraftPlace((0.0, 150.0), ahead_deg)), 40, 18)
    assert (box, CRAFT) in [piece for line in lines for piece in line]


def test_home_is_seen_beside_the_craft() -> None:
    lines = track_lines(changed(craft=CraftPlace((0.0, 0.0), 10.0)), 40, 18)
    styles = {style for line in lines for _, style in line}
    assert {HOME, CRAFT} <= styles


def test_a_reason_stands_instead_of_a_track() -> None:
    text = " ".join(texts(track_lines(changed(why="no track yet: no GPS heard yet"), 40, 10)))
    assert "no GPS heard yet" in text
    assert "north" not in text


def test_without_consumption_there_is_no_legend() -> None:
    rows = texts(track_lines(changed(cost_unit="", limits=(0.0, 0.0)), 40, 18))
    assert len(rows) == 18
    assert "Wh" not in "".join(rows)


@given(north_m=st.floats(280.0, 320.0), size=st.tuples(st.integers(12, 90), st.integers(4, 60)))
def test_an_arrowhead_at_the_very_edge_stays_in_the_picture(
    north_m: float, size: tuple[int, int]
) -> None:
    # Half a dot below the last row it once was in the row after it, and ended the dashboard.
    steps = tuple(range(60))
    east = tuple(10.0 * step for step in steps)
    north = tuple(-north_m + 0.9 * step for step in steps)
    way = TrackPiece(tuple(map(float, steps)), east, north, (0,) * len(steps))
    content = TrackContent((way, way), craft=CraftPlace((300.0, 0.0)), near_m=300.0)
    lines = track_lines(content, *size)
    assert len(lines) <= size[1]
