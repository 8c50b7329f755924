"""Ticks stand a whole number of cells apart, at any size and for any range."""

import itertools
import random
from dataclasses import replace

import pytest

from groundside.dashboard.drawing.plot_content import Axis, PlotContent, Trace
from groundside.dashboard.drawing.plotting import plot_area, plot_lines
from groundside.dashboard.drawing.ticks import even_ticks, tick_text

SIZES = [(40, 6), (38, 9), (40, 12), (60, 20), (80, 15), (78, 24), (120, 40), (197, 61)]
RANGES = [
    (0.0, 400.0),
    (0.0, 8.0),
    (0.0, 0.35),
    (-60.0, 900.0),
    (0.0, 14.0),
    (3.0, 3.7),
    (0.0, 1e5),
]


def two(step: float) -> int:
    return 2


@pytest.mark.parametrize("range_", RANGES)
@pytest.mark.parametrize("size", SIZES)
def test_100_w_was_45_pixels_here_and_67_there(
    size: tuple[int, int], range_: tuple[float, float]
) -> None:
    axis = Axis(*range_, "W")
    content = PlotContent(x=Axis(*range_, "min"), y=axis, trace=Trace((0.0, 1.0), (0.0, 1.0)))
    area = plot_area(content, *size)
    assert area is not None
    for labels in (area.x_labels, area.y_labels):
        places = [place for place, _ in labels]
        assert len({b - a for a, b in itertools.pairwise(places)}) <= 1
        assert len(labels) >= 2
    for drawn in (area.x, area.y):
        assert drawn.low <= axis.low + 1e-9 < axis.high <= drawn.high + 1e-9
    lines = ["".join(text for text, _ in line) for line in plot_lines(content, *size)]
    marked = [row for row, line in enumerate(lines) if "┤" in line]
    assert marked == sorted(area.top + row for row, _ in area.y_labels)
    corner = next(line for line in lines if "└" in line)
    assert [m for m, sign in enumerate(corner) if sign == "┴"] == [
        area.left + column for column, _ in area.x_labels
    ]


def test_each_tick_lies_on_its_cell_and_the_axis_holds_the_range() -> None:
    chance = random.Random(20)
    for _ in range(3000):
        low = chance.choice([0.0, 0.0, chance.uniform(-500.0, 500.0)])
        span = 10.0 ** chance.uniform(-2.0, 5.0)
        cells = chance.randint(1, 240)
        even = even_ticks(low, low + span, cells, two)
        per_cell = (even.high - even.low) / cells
        assert even.low <= low + 1e-6 * span
        assert low - even.low <= per_cell * (1.0 + 1e-6)
        assert even.high >= low + span - 1e-6 * span
        for place, value in even.places():
            assert even.low + place * per_cell == pytest.approx(value, abs=1e-6 * (span + abs(low)))


@pytest.mark.parametrize("cells", range(20, 240))
def test_an_axis_grows_little_where_there_is_room(cells: int) -> None:
    for high in (1.0, 3.0, 7.0, 45.0, 800.0):
        even = even_ticks(0.0, high, cells, two)
        assert even.high <= 1.25 * high
        assert 3 <= len(even.places()) <= cells // 2 + 1


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("high", [0.35, 8.0, 99.0, 1440.0, 1e5])
def test_numbers_touch_neither_each_other_nor_the_unit(size: tuple[int, int], high: float) -> None:
    content = PlotContent(x=Axis(0.0, high, "min"), trace=Trace((0.0, 1.0), (0.0, 1.0)))
    area = plot_area(content, *size)
    assert area is not None
    last = "".join(text for text, _ in plot_lines(content, *size)[-1])
    numbers = [text for _, text in area.x_labels if text]
    assert last.split() == [*numbers, "min"]


def test_a_tap_on_a_tick_is_its_value() -> None:
    content = PlotContent(x=Axis(0.0, 13.0, "min"), trace=Trace((0.0, 1.0), (0.0, 1.0)))
    area = plot_area(content, 80, 20)
    assert area is not None
    for column, text in area.x_labels:
        if text:
            assert tick_text(area.x_at(area.left + column), 1.0) == text


def test_a_range_of_nothing_still_has_an_axis() -> None:
    assert even_ticks(2.0, 2.0, 10, two).high > 2.0
    assert even_ticks(0.0, float("nan"), 10, two).high > 0.0
    assert even_ticks(0.0, 1.0, 0, two).places() == [(0, 0.0), (1, 1.0)]
    assert even_ticks(-1.0, 1.0, 1, two).places() == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "axis",
    [Axis(0.0, 5e-324), Axis(-1e308, 1e308), Axis(1.0, 1e308), Axis(1e17, 1e17 + 64.0)],
    ids=["smallest", "widest", "huge", "far_off"],
)
def test_impossible_figures_are_said_to_be_impossible(axis: Axis, size: tuple[int, int]) -> None:
    for content in (PlotContent(x=axis), PlotContent(y=axis)):
        text = "".join(text for line in plot_lines(content, *size) for text, _ in line)
        assert ("impossible" in text) == (axis.high > 1.0)


def test_a_line_far_outside_the_frame_is_drawn_at_once() -> None:
    content = PlotContent(trace=Trace((0.0, 0.5, 1.0), (0.5, 1e300, -1e300)))
    assert len(plot_lines(content, 80, 20)) == 20


def test_numbers_that_leave_no_room_leave_no_plot() -> None:
    content = PlotContent(y=Axis(1e11, 1e11 + 200.0, "Wh"))
    assert plot_area(content, 16, 10) is not None
    assert plot_area(replace(content, label_columns=14), 16, 10) is None
