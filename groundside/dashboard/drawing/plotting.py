"""Draws a plot into cells: frame and numbers, band, line, points and marks, in layers.

Each cell shows the most important thing there, recognizable by its shape alone.
"""

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import replace

from groundside.dashboard.drawing.braille import DotCanvas
from groundside.dashboard.drawing.painted import Line, joined, wrapped
from groundside.dashboard.drawing.plot_content import (
    NOW,
    Axis,
    AxisMark,
    PlotContent,
    Point,
    TimeBar,
)
from groundside.dashboard.drawing.ticks import even_ticks, tick_text
from onboard.dataclass import dataclass

FRAME, LABEL, CURVE, BAND = "plot--area", "plot--label", "plot--curve", "plot--band"
MARK, STALE, TITLE, EVENT = "plot--mark", "plot--stale", "plot--title", "plot--event"
BAR = "plot--bar"
STYLES = {FRAME, LABEL, CURVE, BAND, MARK, STALE, TITLE, EVENT, BAR}

TITLE_FROM_ROWS = 8
"""Height in rows from which a plot has a title."""
LEAST_COLUMNS, LEAST_ROWS = 16, 4
ROWS_BETWEEN_NUMBERS = 2
BEYOND = 1e12
"""Ends of an axis from here on are no measurement, in any unit: there is no plot."""
OUTSIDE = 50.0
"""What lies further outside the frame is drawn as if it lay there [lengths of the axis]."""
LITTLE_ROOM, IMPOSSIBLE = "too little room for a plot", "these figures are impossible: no plot"
GAP = 2
"""Least number of columns between two numbers."""
PEN = 2
_Place = Callable[[float], float]
"""Converts an axis value to dots."""
PLAYED, READY, AHEAD, TICK = "━", "─", "·", "┃"
"""Cells of the time bar: ridden, ready to go to, not ready yet, an event."""
EVENT_SIGNS = "!▲"
"""Signs that a letter may overwrite."""


@dataclass(frozen=True)
class PlotArea:
    """The area of a plot within its widget, in cells; `top` and `left` are its first cell."""

    left: int
    top: int
    columns: int
    rows: int
    x: Axis
    """The x axis as drawn: lengthened so that its ticks are evenly spaced."""
    y: Axis
    x_labels: tuple[tuple[int, str], ...]
    """Column within the plot and its label; empty for a tick without one."""
    y_labels: tuple[tuple[int, str], ...]
    """Row within the plot and its label."""

    def x_at(self, column: int) -> float:
        """Return the x of a column of the widget, clamped to the ends of the axis."""
        share = (column - self.left) / max(1, self.columns - 1)
        return self.x.low + min(1.0, max(0.0, share)) * (self.x.high - self.x.low)


def plot_area(content: PlotContent, width: int, height: int) -> PlotArea | None:
    """Return the area of a plot within its widget; None if there is too little room."""
    top = 1 if content.title and height >= TITLE_FROM_ROWS else 0
    rows = height - top - (2 if content.bar is None else 3)
    if rows < LEAST_ROWS - 2 or width < LEAST_COLUMNS or not _drawable(content):
        return None
    unit = content.y.unit
    even = even_ticks(content.y.low, content.y.high, rows - 1, lambda _: ROWS_BETWEEN_NUMBERS)
    y_labels = tuple((rows - 1 - up, tick_text(value, even.step)) for up, value in even.places())
    wide = max([len(text) for _, text in y_labels] + [len(unit), content.label_columns])
    columns = width - wide - 2
    if columns < 2:  # long numbers leave no room
        return None
    x, x_labels = _x_axis(content.x, columns)
    y = Axis(even.low, even.high, unit)
    return PlotArea(wide + 1, top, columns, rows, x, y, x_labels, y_labels)


def _drawable(content: PlotContent) -> bool:
    """Return whether the ends of both axes can be written on a screen."""
    ends = (content.x.low, content.x.high, content.y.low, content.y.high)
    return all(abs(end) < BEYOND for end in ends)


def plot_lines(content: PlotContent, width: int, height: int) -> list[Line]:
    """Draw a plot.

    Parameters
    ----------
    content
        The plot's content.
    width, height
        Size of the widget in cells.

    Returns
    -------
    list of Line
        No more than `height` lines, none wider than `width`; styles are among `STYLES`.
    """
    area = plot_area(content, width, height)
    if content.why is not None or area is None:
        return _reason(content, width, height)
    content = replace(content, x=area.x, y=area.y)
    grid = _Grid(width, height)
    if area.top:
        grid.write(0, 0, joined(content.title, width), TITLE)
    _draw_frame(grid, content, area)
    _draw_lines(grid, content, area)
    _write_notes(grid, content, area)
    for point in reversed(content.points):
        _draw_point(grid, content, area, point)
    _draw_marks(grid, content, area)
    if content.bar is not None:
        _draw_bar(grid, content, area, content.bar)
    return grid.lines()


class _Grid:
    """Cells with a character and a style each."""

    def __init__(self, width: int, height: int) -> None:
        self.chars = [[" "] * width for _ in range(height)]
        self.styles = [[""] * width for _ in range(height)]

    def write(self, column: int, row: int, text: str, style: str) -> None:
        for place, char in enumerate(text, column):
            self.chars[row][place], self.styles[row][place] = char, style

    def lines(self) -> list[Line]:
        """Return the rows, with adjacent cells of one style merged."""
        result: list[Line] = []
        for chars, styles in zip(self.chars, self.styles, strict=True):
            line: Line = []
            start = 0
            for place in range(1, len(chars) + 1):
                if place == len(chars) or styles[place] != styles[start]:
                    line.append(("".join(chars[start:place]), styles[start]))
                    start = place
            result.append(line)
        return result


def _share(value: float, axis: Axis) -> float:
    span = axis.high - axis.low
    share = (value - axis.low) / span if span > 0 else 0.0
    return min(max(-OUTSIDE, share), OUTSIDE)


def _column(x: float, axis: Axis, area: PlotArea) -> int:
    return round(_share(x, axis) * (area.columns - 1))


def _reason(content: PlotContent, width: int, height: int) -> list[Line]:
    """Write in the middle why there is no plot."""
    lines: list[Line] = []
    if content.title and height >= TITLE_FROM_ROWS:
        lines.append([(joined(content.title, width), TITLE)])
    text = wrapped(
        content.why or (LITTLE_ROOM if _drawable(content) else IMPOSSIBLE), max(8, width - 4)
    )
    above = max(0, (height - len(lines) - len(text)) // 2)
    lines += [[] for _ in range(above)]
    lines += [[(f"  {row}", LABEL)] for row in text]
    return lines[:height]


def _draw_frame(grid: _Grid, content: PlotContent, area: PlotArea) -> None:
    bottom = area.top + area.rows
    for row in range(area.top, bottom):
        grid.write(area.left - 1, row, "│", FRAME)
    for row, text in area.y_labels:
        grid.write(area.left - 1 - len(text), area.top + row, text, LABEL)
        grid.write(area.left - 1, area.top + row, "┤", FRAME)
    grid.write(area.left - 1, bottom, "└" + "─" * area.columns, FRAME)
    grid.write(area.left - 1 - len(content.y.unit), bottom + 1, content.y.unit, LABEL)
    unit = content.x.unit
    end = area.left + area.columns + 1 - len(unit)
    grid.write(end, bottom + 1, unit, LABEL)
    for place, text in area.x_labels:
        column = area.left + place
        grid.write(column, bottom, "┴", FRAME)
        grid.write(max(area.left, column - len(text) // 2), bottom + 1, text, LABEL)


def _x_axis(axis: Axis, columns: int) -> tuple[Axis, tuple[tuple[int, str], ...]]:
    """Return the x axis as drawn and its ticks; a number that would touch the unit is left out."""

    def least_apart(step: float) -> int:
        wide = max(len(tick_text(end, step)) for end in (axis.low, axis.high + step))
        return wide + max(GAP, wide // 2 + 1)  # the first may stand half its width to the right

    even = even_ticks(axis.low, axis.high, columns - 1, least_apart)
    end = columns - len(axis.unit) if axis.unit else columns + 1

    def number(column: int, value: float) -> str:
        text = tick_text(value, even.step)
        return text if max(0, column - len(text) // 2) + len(text) <= end else ""

    labels = ((column, number(column, value)) for column, value in even.places())
    return Axis(even.low, even.high, axis.unit), tuple(labels)


def _draw_lines(grid: _Grid, content: PlotContent, area: PlotArea) -> None:
    columns, rows = area.columns, area.rows
    band, curve, drops = (DotCanvas(columns, rows) for _ in range(3))

    def dot_x(x: float) -> float:
        return _share(x, content.x) * (curve.wide - 1)

    def dot_y(y: float) -> float:
        return (1.0 - _share(y, content.y)) * (curve.high - 1)

    _draw_band(band, content, dot_x, dot_y)
    before: tuple[float, float] | None = None
    for x, y in zip(content.trace.x, content.trace.y, strict=True):
        here = None if y is None else (dot_x(x), dot_y(y))
        if here is not None:
            curve.line(*(before or here), *here, pen=PEN)
        before = here
    for mark in content.marks:
        if mark.top is not None and 0.0 <= _share(mark.x, content.x) <= 1.0:
            place = 2 * _column(mark.x, content.x, area)  # above its letter
            top = round(dot_y(min(mark.top, content.y.high)))
            for y in range(curve.high - 1, max(-1, top - 1), -2):
                drops.dot(place, y)
    for row in range(rows):
        for column in range(columns):
            at = area.left + column, area.top + row
            if curve.is_set(column, row):
                grid.write(*at, curve.char(column, row), CURVE)
            elif drops.is_set(column, row):
                grid.write(*at, drops.char(column, row), LABEL)
            elif band.is_set(column, row):
                grid.write(*at, band.char(column, row), BAND)


def _write_notes(grid: _Grid, content: PlotContent, area: PlotArea) -> None:
    """Write the notes, one a row, except over anything drawn."""
    for row, note in enumerate(content.notes[: area.rows], area.top):
        text = f" {note} "[: area.columns]
        cells = slice(area.left, area.left + len(text))
        if not "".join(grid.chars[row][cells]).strip():
            grid.write(area.left, row, text, LABEL)


def _draw_band(canvas: DotCanvas, content: PlotContent, dot_x: _Place, dot_y: _Place) -> None:
    """Fill the band with sparse dots, distinct from the line even without colour."""
    band = content.band
    if not band.x:
        return
    places = [dot_x(x) for x in band.x]
    for x in range(max(0, round(places[0])), min(canvas.wide - 1, round(places[-1])) + 1):
        low, high = (_between(places, ends, x) for ends in (band.low, band.high))
        above = max(0, round(dot_y(high)))
        below = min(canvas.high - 1, round(dot_y(low)))
        for y in range(above, below + 1):
            if y % 4 == 2 * (x % 2):
                canvas.dot(x, y)


def _between(places: list[float], values: tuple[float, ...], x: float) -> float:
    after = min(max(1, bisect_right(places, x)), len(places) - 1)
    if len(places) == 1 or places[after] <= places[after - 1]:
        return values[0]
    share = (x - places[after - 1]) / (places[after] - places[after - 1])
    share = min(1.0, max(0.0, share))
    return values[after - 1] + share * (values[after] - values[after - 1])


def _draw_point(grid: _Grid, content: PlotContent, area: PlotArea, point: Point) -> None:
    """Draw a point's letter in a box of three cells, hatched if stale."""
    across, up = _share(point.x, content.x), _share(point.y, content.y)
    column = min(max(0, _column(point.x, content.x, area)), area.columns - 1)
    row = min(max(0, round((1.0 - up) * (area.rows - 1))), area.rows - 1)
    sides = "▒▒" if point.stale else "  "
    if across > 1.0 or across < 0.0:
        sides = "►►" if across > 1.0 else "◄◄"
    elif up > 1.0 or up < 0.0:
        sides = "▲▲" if up > 1.0 else "▼▼"
    box = sides[0] + point.letter + sides[1]
    style = STALE if point.stale else MARK
    for place, char in enumerate(box, column - 1):
        if 0 <= place < area.columns:
            grid.write(area.left + place, area.top + row, char, style)


def _draw_marks(grid: _Grid, content: PlotContent, area: PlotArea) -> None:
    """Draw letters on the axis; one whose place is taken goes above it."""
    bottom = area.top + area.rows
    for mark in content.marks:
        if mark.low is None or mark.high is None:
            continue
        ends = (_column(value, content.x, area) for value in (mark.low, mark.high))
        first, last = (min(max(0, end), area.columns - 1) for end in ends)
        grid.write(area.left + first, bottom, "═" * (last - first + 1), LABEL)
    for mark in sorted(content.marks, key=lambda mark: mark.letter not in EVENT_SIGNS):
        _draw_mark(grid, content, area, mark)


def _draw_bar(grid: _Grid, content: PlotContent, area: PlotArea, bar: TimeBar) -> None:
    """Draw a replay's time bar below the numbers, from the start of the axis to the ride's end."""
    row = area.top + area.rows + 2

    def column(x: float) -> int:
        return min(max(0, _column(x, content.x, area)), area.columns - 1)

    end, ready, now = column(bar.end), column(bar.ready), column(bar.now)
    ready = max(now, ready)
    cells = PLAYED * now + READY * (ready - now) + AHEAD * (end + 1 - ready)
    grid.write(area.left, row, cells, BAR)
    for event in bar.events:
        grid.write(area.left + column(event), row, TICK, BAR)
    grid.write(area.left + now, row, NOW, MARK)


def _draw_mark(grid: _Grid, content: PlotContent, area: PlotArea, mark: AxisMark) -> None:
    if not 0.0 <= _share(mark.x, content.x) <= 1.0:
        return
    column = area.left + _column(mark.x, content.x, area)
    row = area.top + area.rows
    if mark.letter in EVENT_SIGNS:
        grid.write(column, row, mark.letter, EVENT)
        return
    while row > area.top and grid.styles[row][column] in (MARK, STALE):
        row -= 1
    grid.write(column, row, mark.letter, STALE if mark.stale else MARK)
