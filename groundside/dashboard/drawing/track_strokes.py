"""The way as strokes of dots: shifted to its right-hand side, wider where consumption was higher.

Out and back along one line would hide each other. So each is drawn to the rider's right of the way
made, and either direction has its own lane.
"""

import itertools
import math

from groundside.dashboard.drawing.braille import DotCanvas
from groundside.dashboard.drawing.track_content import TrackPiece
from groundside.dashboard.drawing.track_frame import TrackFrame
from onboard.dataclass import dataclass

Dot = tuple[float, float]
"""A point in dots, right and down from the top left."""

LANE_DOTS = 2.0
"""Shift to the right of the way made [dots]: half the distance between out and back."""

STRIDE_DOTS = 3.0
"""Least distance between drawn points [dots]: shorter ones have no direction of their own."""

AHEAD, UNKNOWN, CHEAP, MIDDLE, DEAR = range(5)
"""Ranks of a cell; where strokes meet, the highest is shown."""

PENS = {AHEAD: 1, UNKNOWN: 1, CHEAP: 1, MIDDLE: 2, DEAR: 3}
"""Width of a stroke [dots]."""

DOTTED = {AHEAD: 3, UNKNOWN: 2}
"""Of a dotted stroke one dot in this many is set."""

ARROWS_EVERY_DOTS = 26.0
"""Way between two arrowheads [dots]."""

OUTSIDE_DOTS = 4.0
"""Strokes further outside than this are left out [dots]."""

ARROWS = "▲►▼◄"


@dataclass(frozen=True)
class Arrow:
    """An arrowhead in a cell, in the direction of travel."""

    column: int
    row: int
    sign: str


def arrow_sign(x: float, y: float) -> str:
    """Return the sign for a direction in dots, y pointing down.

    Examples
    --------
    >>> arrow_sign(0.0, -1.0), arrow_sign(1.0, 0.1), arrow_sign(0.0, 1.0), arrow_sign(-1.0, 0.0)
    ('▲', '►', '▼', '◄')
    """
    return ARROWS[round(math.degrees(math.atan2(x, -y)) / 90.0) % 4]


class Strokes:
    """The dots of a picture, and the rank of each cell.

    Parameters
    ----------
    columns, rows
        Size in cells.
    """

    def __init__(self, columns: int, rows: int) -> None:
        self.canvas = DotCanvas(columns, rows)
        self.rank = [-1] * (columns * rows)
        self._columns = columns
        self.arrows: list[Arrow] = []

    def draw(self, piece: TrackPiece, frame: TrackFrame, now_s: float | None) -> None:
        """Draw a piece of the way.

        Parameters
        ----------
        piece
            The piece.
        frame
            What the picture shows.
        now_s
            Stream time from which the way is still ahead [s]; None if there is none.
        """
        points = _strided(piece, frame)
        before: Dot | None = None
        since = ARROWS_EVERY_DOTS / 2
        for (x0, y0, _), (x1, y1, place) in itertools.pairwise(points):
            long = math.hypot(x1 - x0, y1 - y0)
            if long == 0.0:
                continue
            aside = (y0 - y1) * LANE_DOTS / long, (x1 - x0) * LANE_DOTS / long
            begin, end = (x0 + aside[0], y0 + aside[1]), (x1 + aside[0], y1 + aside[1])
            rank = _rank(piece, place, now_s)
            if before is not None:
                self.stroke(before, begin, rank)
            self.stroke(begin, end, rank)
            before = end
            since += long
            if since >= ARROWS_EVERY_DOTS and long >= STRIDE_DOTS and rank != AHEAD:
                since = 0.0
                self._arrow((begin[0] + end[0]) / 2, (begin[1] + end[1]) / 2, x1 - x0, y1 - y0)

    def stroke(self, begin: Dot, end: Dot, rank: int) -> None:
        """Draw a straight line with a pen held across its direction."""
        seen = _clipped(begin, end, self.canvas.wide, self.canvas.high)
        if seen is None:
            return
        (x0, y0), (x1, y1) = seen
        steps = max(1, round(max(abs(x1 - x0), abs(y1 - y0))))
        flat = abs(x1 - x0) >= abs(y1 - y0)
        pen, every = PENS[rank], DOTTED.get(rank, 1)
        low = -((pen - 1) // 2)
        for step in range(steps + 1):
            x = math.floor(x0 + (x1 - x0) * step / steps + 0.5)
            y = math.floor(y0 + (y1 - y0) * step / steps + 0.5)
            if every > 1 and (x if flat else y) % every:
                continue
            for across in range(low, low + pen):
                self._dot(*((x, y + across) if flat else (x + across, y)), rank)

    def _dot(self, x: int, y: int, rank: int) -> None:
        if 0 <= x < self.canvas.wide and 0 <= y < self.canvas.high:
            self.canvas.dot(x, y)
            cell = y // 4 * self._columns + x // 2
            self.rank[cell] = max(self.rank[cell], rank)

    def _arrow(self, x: float, y: float, right: float, down: float) -> None:
        across, down_to = math.floor(x + 0.5), math.floor(y + 0.5)
        column, row = across // 2, down_to // 4
        if 0 <= across < self.canvas.wide and 0 <= down_to < self.canvas.high:
            self.arrows.append(Arrow(column, row, arrow_sign(right, down)))


def _rank(piece: TrackPiece, place: int, now_s: float | None) -> int:
    if now_s is not None and piece.t_s[place] > now_s:
        return AHEAD
    shade = piece.shade[place]
    return UNKNOWN if shade is None else CHEAP + shade


def _strided(piece: TrackPiece, frame: TrackFrame) -> list[tuple[float, float, int]]:
    """Return the points in dots, at least a stride apart, with their indices in the piece."""
    points: list[tuple[float, float, int]] = []
    last = len(piece.t_s) - 1
    for place, at in enumerate(zip(piece.east_m, piece.north_m, strict=True)):
        x, y = frame.dot(at)
        if points:
            away = math.hypot(x - points[-1][0], y - points[-1][1])
            if away < STRIDE_DOTS:
                if place == last and away > 0.0 and len(points) > 1:
                    points[-1] = (x, y, place)
                continue
        points.append((x, y, place))
    return points


def _clipped(begin: Dot, end: Dot, wide: int, high: int) -> tuple[Dot, Dot] | None:
    """Return the part of a line on the canvas or within `OUTSIDE_DOTS` of it (Liang and Barsky)."""
    (x, y), dx, dy = begin, end[0] - begin[0], end[1] - begin[1]
    first, last = 0.0, 1.0
    for step, room in (
        *((-dx, x + OUTSIDE_DOTS), (dx, wide + OUTSIDE_DOTS - x)),
        *((-dy, y + OUTSIDE_DOTS), (dy, high + OUTSIDE_DOTS - y)),
    ):
        if step < 0.0:
            first = max(first, room / step)
        elif step > 0.0:
            last = min(last, room / step)
        elif room < 0.0:
            return None
    if first > last:
        return None
    return (x + first * dx, y + first * dy), (x + last * dx, y + last * dy)
