"""Draws a track into cells: legend, the way in dots, home and craft as letters in boxes, scale."""

import math

from groundside.dashboard.drawing.painted import Line, shortened, wrapped
from groundside.dashboard.drawing.track_content import Place, TrackContent
from groundside.dashboard.drawing.track_frame import TrackFrame, scale_bar, track_frame
from groundside.dashboard.drawing.track_strokes import (
    AHEAD,
    CHEAP,
    DEAR,
    MIDDLE,
    UNKNOWN,
    Strokes,
    arrow_sign,
)

STYLE_OF = {
    AHEAD: "track--ahead",
    UNKNOWN: "track--unknown",
    CHEAP: "track--cheap",
    MIDDLE: "track--middle",
    DEAR: "track--dear",
}
LABEL, ARROW, CRAFT, HOME = "track--label", "track--arrow", "track--craft", "track--home"
STALE = "track--stale"
STYLES = {*STYLE_OF.values(), LABEL, ARROW, CRAFT, HOME, STALE}

LEGEND_FROM_ROWS = 8
"""Height in rows from which there is a legend."""
LEAST_COLUMNS, LEAST_ROWS = 12, 4
SAMPLES = {CHEAP: "⠒⠒", MIDDLE: "⠶⠶", DEAR: "⠿⠿"}
"""Samples of the three stroke widths for the legend."""
AHEAD_SAMPLE, AHEAD_WORD = "  ⠂⠐⠂⠐", " ahead"
BAR_MOST_SHARE, BAR_MOST_DOTS = 0.3, 48
"""Longest scale bar, as a share of the width and in dots."""


def track_lines(content: TrackContent, width: int, height: int) -> list[Line]:
    """Draw a track.

    Parameters
    ----------
    content
        The track.
    width, height
        Size of the widget in cells.

    Returns
    -------
    list of Line
        No more than `height` lines, none wider than `width`; styles are among `STYLES`.
    """
    if content.why is not None or width < LEAST_COLUMNS or height < LEAST_ROWS:
        return _reason(content.why or "too little room for the track", width, height)
    top = map_top(content, height)
    rows = height - top - 1
    frame = map_frame(content, width, height)
    cells = _way(content, frame, width, rows)
    _put_places(cells, content, frame, width, rows)
    legend = [_legend(content, width)] if top else []
    return [*legend, *map(_merged, cells), _foot(content, frame, width)]


def _reason(why: str, width: int, height: int) -> list[Line]:
    """Write, half-way down, why there is no track."""
    rows = wrapped(why, max(8, width - 4))
    above: list[Line] = [[] for _ in range(max(0, (height - len(rows)) // 2))]
    return [*above, *([(shortened(f"  {row}", width), LABEL)] for row in rows)][:height]


def map_top(content: TrackContent, height: int) -> int:
    """Return the number of rows above the picture."""
    return 1 if content.cost_unit and height >= LEGEND_FROM_ROWS else 0


def map_frame(content: TrackContent, width: int, height: int) -> TrackFrame:
    """Return what the picture shows in a widget of this size."""
    return track_frame(content, 2 * width, 4 * (height - map_top(content, height) - 1))


def _way(
    content: TrackContent, frame: TrackFrame, width: int, rows: int
) -> list[list[tuple[str, str]]]:
    strokes = Strokes(width, rows)
    for piece in content.pieces:
        strokes.draw(piece, frame, content.now_s)
    cells = [
        [
            (strokes.canvas.char(column, row), STYLE_OF.get(strokes.rank[row * width + column], ""))
            for column in range(width)
        ]
        for row in range(rows)
    ]
    boxes = [
        _cell(frame, place, width, rows)
        for place in (content.home, content.craft.place if content.craft else None)
        if place is not None
    ]
    for arrow in strokes.arrows:
        if all(arrow.row != row or abs(arrow.column - column) > 3 for column, row in boxes):
            cells[arrow.row][arrow.column] = arrow.sign, ARROW
    return cells


def _put_places(
    cells: list[list[tuple[str, str]]],
    content: TrackContent,
    frame: TrackFrame,
    width: int,
    rows: int,
) -> None:
    """Write home and craft as letters in boxes of three cells, at the edge if they lie outside."""
    taken: tuple[int, int] | None = None
    craft, home = content.craft, content.home
    if craft is not None:
        taken = _cell(frame, craft.place, width, rows)
        _box(cells, taken, *_craft_box(content))
    if home is not None:
        column, row = _cell(frame, home, width, rows)
        if taken is not None and row == taken[1] and abs(column - taken[0]) < 3:
            row += 1 if row + 1 < rows else -1
        _box(cells, (column, row), " H ", HOME)


def _craft_box(content: TrackContent) -> tuple[str, str]:
    craft = content.craft
    assert craft is not None
    if craft.stale:
        return "▒N▒", STALE
    if craft.ahead_deg is None:
        return " N ", CRAFT
    right, up = _direction(craft.ahead_deg)
    sign = arrow_sign(right, -up)
    return (f"{sign}N " if sign == "◄" else f" N{sign}"), CRAFT


def _direction(angle_deg: float) -> Place:
    return math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))


def _cell(frame: TrackFrame, place: Place, width: int, rows: int) -> tuple[int, int]:
    x, y = frame.dot(place)
    column, row = int(x + 0.5) // 2, int(y + 0.5) // 4
    return min(max(1, column), width - 2), min(max(0, row), rows - 1)


def _box(cells: list[list[tuple[str, str]]], at: tuple[int, int], text: str, style: str) -> None:
    for place, char in enumerate(text, at[0] - 1):
        cells[at[1]][place] = char, style


def _merged(cells: list[tuple[str, str]]) -> Line:
    """Return a row with adjacent cells of one style merged."""
    line: Line = []
    start = 0
    for place in range(1, len(cells) + 1):
        if place == len(cells) or cells[place][1] != cells[start][1]:
            line.append(("".join(char for char, _ in cells[start:place]), cells[start][1]))
            start = place
    return line


def _legend(content: TrackContent, width: int) -> Line:
    """Return what the stroke widths mean, in as many words as fit."""
    low, high = (f"{limit:g}" for limit in content.limits)
    full = (f" under {low}  ", f" {low} to {high}  ", f" over {high} {content.cost_unit}")
    brief = (f" <{low} ", f" {low}-{high} ", f" >{high} {content.cost_unit}")
    for texts in (full, brief):
        if sum(map(len, texts)) + 7 <= width:
            break
    line: Line = [(" ", LABEL)]
    for (rank, sample), text in zip(SAMPLES.items(), texts, strict=True):
        line += [(sample, STYLE_OF[rank]), (text, LABEL)]
    wide = sum(len(text) for text, _ in line)
    if content.now_s is not None and wide + len(AHEAD_SAMPLE) + len(AHEAD_WORD) <= width:
        line += [(AHEAD_SAMPLE, STYLE_OF[AHEAD]), (AHEAD_WORD, LABEL)]
    if wide > width:
        return [(shortened(f" {content.cost_unit}", width), LABEL)]
    return line


def _foot(content: TrackContent, frame: TrackFrame, width: int) -> Line:
    """Return the bottom row: which way is north, the scale, and what the letters mean."""
    most = min(BAR_MOST_DOTS, int(2 * width * BAR_MOST_SHARE))
    dots, length = scale_bar(frame, content.length_units, most)
    parts = (
        "▲ north",
        f"{_bar(dots)} {length}" if dots else "",
        "N now" if content.craft is not None else "",
        "H home" if content.home is not None else "",
    )
    shown = list(filter(None, parts))
    for between in ("  ", " "):
        text = " " + between.join(shown)
        if len(text) <= width:
            return [(text, LABEL)]
    while len(shown) > 1 and len(" " + " ".join(shown)) > width:
        shown.pop()
    return [(shortened(" " + " ".join(shown), width), LABEL)]


def _bar(dots: int) -> str:
    """Draw a scale bar in braille, its ends `dots` dots apart.

    Examples
    --------
    >>> _bar(7)
    '⡧⠤⠤⢼'
    """
    cells = [0] * (dots // 2 + 1)
    bits = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
    for x in range(dots + 1):
        for row in range(4) if x in (0, dots) else (2,):
            cells[x // 2] |= bits[row][x % 2]
    return "".join(chr(0x2800 + one) for one in cells)
