"""The arrow home, relative to the rider's own direction."""

import math
from functools import lru_cache

from groundside.dashboard.drawing.half_blocks import half_blocks

STEP_DEG = 15
"""Step of the arrow's angle [deg]: finer ones look alike at this resolution, and would flicker."""

SHAPE = (
    *((0.0, 1.0), (0.85, 0.05), (0.3, 0.05), (0.3, -0.95)),
    *((-0.3, -0.95), (-0.3, 0.05), (-0.85, 0.05)),
)
"""Corners as (right, ahead): a broad head on a thick stem, so that the ends look different."""

_FINE, _FINE_LARGE, _LARGE_ROWS = 4, 2, 12
"""Points tried across a pixel; fewer from `_LARGE_ROWS` up, to keep their total about equal."""


@lru_cache(maxsize=128)
def home_arrow(angle_deg: int, columns: int, rows: int) -> tuple[str, ...]:
    """Draw the arrow.

    Parameters
    ----------
    angle_deg
        Direction in which it points: 0 is ahead, 90 to the right.
    columns, rows
        Size of the drawing in cells.

    Returns
    -------
    tuple of str
        `rows` lines of `columns` cells.
    """
    high, fine = 2 * rows, _FINE if rows < _LARGE_ROWS else _FINE_LARGE
    radius = min(columns, high) / 2
    turn = math.radians(angle_deg)
    ahead, aside = math.cos(turn), math.sin(turn)
    corners = [
        ((x * ahead + y * aside) * radius, (y * ahead - x * aside) * radius) for x, y in SHAPE
    ]
    points = []
    for row in range(high):
        line = ""
        for column in range(columns):
            covered = sum(
                _inside(
                    column + (i + 0.5) / fine - columns / 2,
                    high / 2 - row - (j + 0.5) / _FINE,
                    corners,
                )
                for i in range(fine)
                for j in range(fine)
            )
            line += "#" if 2 * covered >= fine * fine else "."
        points.append(line)
    return half_blocks(points)


def _inside(x: float, y: float, corners: list[tuple[float, float]]) -> bool:
    """Return whether a point lies in a polygon: a ray from it crosses an odd number of sides."""
    odd = False
    before = corners[-1]
    for here in corners:
        if (here[1] > y) != (before[1] > y):
            at = here[0] + (before[0] - here[0]) * (y - here[1]) / (before[1] - here[1])
            odd ^= x < at
        before = here
    return odd
