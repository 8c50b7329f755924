"""Rows of the home view."""

from dataclasses import replace

from groundside.dashboard.drawing.block_font import fitting
from groundside.dashboard.layout import SIDE_BY_SIDE_COLUMNS
from onboard.dataclass import dataclass

WAY_ROWS = (9, 7, 4)
"""Heights of the way home, tried in turn: the higher, the larger its arrow."""

ROOMY_ROWS = 26
"""Height from which the parts of a wide view grow [rows]."""
TEMPLATE, UNIT_COLUMNS = "8888", 8
"""Digits of a big figure, and the columns beside them for its unit."""


@dataclass(frozen=True)
class HomeRows:
    """Heights of the parts of the home view, in rows; a part with 0 is not shown.

    Parameters
    ----------
    cue, figure, way
        Height of each part; `figure` that of one big figure with its label.
    margin
        Whether the second big figure is shown.
    side_by_side
        Whether the big figures are side by side.
    """

    cue: int
    figure: int
    way: int
    margin: bool
    side_by_side: bool

    @property
    def big_figures(self) -> int:
        """Height of both big figures."""
        return self.figure if self.side_by_side or not self.margin else 2 * self.figure


def home_rows(width: int, height: int, *, cue: bool) -> HomeRows:
    """Allot the rows of the home view: the cue to turn back, two big figures, the way home.

    Parameters
    ----------
    width, height
        Size of the view in cells.
    cue
        Whether it is time to turn back.

    Examples
    --------
    >>> home_rows(40, 14, cue=False)
    HomeRows(cue=0, figure=5, way=4, margin=True, side_by_side=False)
    >>> home_rows(40, 14, cue=True)
    HomeRows(cue=6, figure=4, way=4, margin=False, side_by_side=False)
    """
    side_by_side = width >= SIDE_BY_SIDE_COLUMNS
    label = 1 if side_by_side else 0
    if side_by_side and height >= ROOMY_ROWS:
        return _roomy(width, height, cue=cue)
    way = next(rows for rows in WAY_ROWS if rows == WAY_ROWS[-1] or height >= 2 * rows + 4)
    for sign, figure, margin in (
        *((9, 12, True), (7, 9, True), (7, 7, True)),
        *((6, 5, True), (6, 4, True), (6, 4, False), (1, 4, False)),
    ):
        rows = HomeRows(sign if cue else 0, figure + label, way, margin, side_by_side)
        if rows.cue + rows.big_figures + rows.way <= height:
            return replace(rows, way=height - rows.cue - rows.big_figures)
    return HomeRows(min(1, height) if cue else 0, 0, height - int(cue), False, side_by_side)


def _roomy(width: int, height: int, *, cue: bool) -> HomeRows:
    """Allot the rows of a wide view: big figures as large as fit, but half the rows for the way."""
    sign = height // 4 if cue else 0
    most = (height - sign) // 2 - 1
    letters = fitting(TEMPLATE, width // 2 - UNIT_COLUMNS, most)
    figure = (letters.rows if letters is not None else most) + 1
    return HomeRows(sign, figure, height - sign - figure, True, True)
