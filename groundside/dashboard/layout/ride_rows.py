"""Rows of the ride view."""

from groundside.dashboard.drawing.block_font import SIZES, SMALLEST_ROWS
from groundside.dashboard.layout import SIDE_BY_SIDE_COLUMNS
from onboard.dataclass import dataclass

COLUMN_OF_TABLE = 20
MOST_COLUMNS = 4
CELLS_OF_TABLE = 16
BIG_FIGURE_TEMPLATE = "88.8"
CUE_ROWS_WITH_TEXT = 6


@dataclass(frozen=True)
class RideRows:
    """Heights of the parts of the ride view, in rows; a part with 0 is not shown.

    Parameters
    ----------
    figure, cue, table
        Height of each part; `figure` that of one big figure with its label.
    side_by_side
        Whether the big figures are side by side.
    table_columns
        Number of small figures side by side.
    spare
        Rows that no part needs; they separate the parts.
    """

    figure: int
    cue: int
    table: int
    side_by_side: bool
    table_columns: int
    spare: int = 0

    @property
    def total(self) -> int:
        """Sum of the rows of all parts."""
        return self.figure * (1 if self.side_by_side else 2) + self.cue + self.table


def ride_rows(width: int, height: int, *, cue: bool = False, text_rows: int = 0) -> RideRows:
    """Allot the rows of the ride view.

    Parameters
    ----------
    width, height
        Size of the view in cells.
    cue
        Whether there is a cue in big type.
    text_rows
        Rows of text in place of a cue: the open run, or why there is no cue.

    Returns
    -------
    RideRows
        Heights with a sum of at most `height`, if that is at least 3.
    """
    side_by_side = width >= SIDE_BY_SIDE_COLUMNS
    columns = min(MOST_COLUMNS, max(1, width // COLUMN_OF_TABLE))
    label = 1 if side_by_side else 0
    figure_width = width // 2 - 2 if side_by_side else width - 13
    big_figures = sorted({s.rows for s in SIZES if s.width(BIG_FIGURE_TEMPLATE) <= figure_width})
    full_table = -(-CELLS_OF_TABLE // columns)
    have = {"figure": SMALLEST_ROWS + label, "cue": 1 if cue else text_rows, "table": 1}

    def left() -> int:
        return height - RideRows(**have, side_by_side=side_by_side, table_columns=columns).total

    def grow(part: str, rows: int) -> None:
        each = 2 if part == "figure" and not side_by_side else 1
        if rows > have[part] and (rows - have[part]) * each <= left():
            have[part] = rows

    def grow_figures(most: int) -> None:
        for rows in big_figures:
            if rows <= most:
                grow("figure", rows + label)

    # smaller than a phone: the big figures shrink, but stay
    for part, least in (("table", 0), ("figure", 1 + label), ("cue", 1), ("figure", 1)):
        if left() < 0:
            have[part] = min(have[part], least)

    grow_figures(5)
    if cue and have["cue"] + left() == CUE_ROWS_WITH_TEXT - 2:
        have["table"] = 0  # a row short of a cue in big type: the small figures give way
    if cue:
        grow("cue", CUE_ROWS_WITH_TEXT - 1)
        grow("cue", CUE_ROWS_WITH_TEXT)
    grow("table", 3)
    grow_figures(7)
    grow("table", min(4, full_table))
    grow_figures(9)
    if cue:
        grow("cue", CUE_ROWS_WITH_TEXT + 2)
    grow_figures(99)
    while left() > 0 and have["table"] < full_table:
        have["table"] += 1
    return RideRows(**have, side_by_side=side_by_side, table_columns=columns, spare=max(0, left()))
