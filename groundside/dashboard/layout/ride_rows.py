"""Rows of the glance: two big figures, the cue and small figures, filling the room they are given.

The figures stand side by side or one above the other, their labels above or beside them: whichever
gives the larger digits.
"""

from groundside.dashboard.drawing.block_font import SIZES, SMALLEST_ROWS, fitting
from groundside.dashboard.drawing.cue_band import LOW_ROWS, band_sizes
from onboard.dataclass import dataclass

COLUMN_OF_TABLE = 20
MOST_COLUMNS = 4
CELLS_OF_TABLE = 16
BIG_FIGURE_TEMPLATE = "88.8"
SIDE_COLUMNS = 14
"""Columns for the label beside the digits: `12.5 to 17.5` with a space on either side."""
GROWTH = (
    *(("figure", 5), ("cue", 6), ("table", 2), ("figure", 7), ("table", 4), ("cue", 7)),
    *(("figure", 9), ("cue", 9), ("figure", 12), ("cue", 12), ("figure", 16), ("table", 99)),
    *(("cue", 16), ("figure", 99), ("cue", 99)),
)
"""Which part takes spare rows next, and up to which height without its label: in the order in which
they help."""
MARGIN_MOST = 2
"""Spare rows that a cue takes as margin."""


@dataclass(frozen=True)
class RideRows:
    """Heights of the parts of the glance, in rows; a part with 0 is not shown.

    Parameters
    ----------
    figure, cue, table
        Height of each part; `figure` that of one big figure with its label.
    side_by_side
        Whether the big figures are side by side.
    label_above
        Whether their labels are above the digits; otherwise beside them.
    table_columns
        Number of small figures side by side.
    spare
        Rows that no part needs; they separate the parts.
    """

    figure: int
    cue: int
    table: int
    side_by_side: bool
    label_above: bool
    table_columns: int
    spare: int = 0

    @property
    def total(self) -> int:
        """Sum of the rows of all parts."""
        return self.figure * (1 if self.side_by_side else 2) + self.cue + self.table


def ride_rows(width: int, height: int, *, cue: bool = False, text_rows: int = 0) -> RideRows:
    """Allot the rows of the glance.

    Parameters
    ----------
    width, height
        Its size in cells.
    cue
        Whether there is a cue.
    text_rows
        Rows of text in place of a cue: the open run, or why there is no cue.

    Returns
    -------
    RideRows
        Heights with a sum of at most `height`, if that is at least 3.

    Examples
    --------
    >>> rows = ride_rows(40, 16, cue=True)
    >>> rows.figure, rows.cue, rows.label_above
    (5, 6, False)
    """
    found = [
        (arrangement.digits_area(rows.figure), rows)
        for arrangement in (_SideBySide(width), _LabelBeside(width), _Stacked(width))
        for rows in (_allot(arrangement, width, height, cue, text_rows),)
    ]
    return max(found, key=lambda each: (each[0], -each[1].spare, each[1].cue))[1]


class _Arrangement:
    """How the big figures stand, and how much room that leaves for their digits."""

    side_by_side, label_above = False, True

    def __init__(self, width: int) -> None:
        self.room = self.columns(width)
        fitting_sizes = [s for s in SIZES if s.width(BIG_FIGURE_TEMPLATE) <= self.room]
        self.label = 1 if self.label_above else 0
        self.heights = sorted({size.rows + self.label for size in fitting_sizes})

    def columns(self, width: int) -> int:
        return width - 2

    def digits_area(self, rows: int) -> int:
        size = fitting(BIG_FIGURE_TEMPLATE, self.room, rows - self.label)
        return 0 if size is None else size.rows * size.width(BIG_FIGURE_TEMPLATE)


class _Stacked(_Arrangement):
    pass


class _SideBySide(_Arrangement):
    side_by_side = True

    def columns(self, width: int) -> int:
        return width // 2 - 2


class _LabelBeside(_Arrangement):
    label_above = False

    def columns(self, width: int) -> int:
        return width - SIDE_COLUMNS


def _allot(
    arrangement: _Arrangement, width: int, height: int, cue: bool, text_rows: int
) -> RideRows:
    columns = min(MOST_COLUMNS, max(1, width // COLUMN_OF_TABLE))
    full_table = -(-CELLS_OF_TABLE // columns)
    each = 1 if arrangement.side_by_side else 2
    label = arrangement.label
    have = {"figure": SMALLEST_ROWS + label, "cue": LOW_ROWS if cue else text_rows, "table": 1}
    sizes = {
        "figure": arrangement.heights,
        "cue": band_sizes(width) if cue else (),
        "table": range(1, full_table + 1),
    }

    def left() -> int:
        return height - each * have["figure"] - have["cue"] - have["table"]

    # on less than a phone's screen the big figures shrink, but stay
    for part, least in (("table", 0), ("figure", 1 + label), ("cue", 1), ("figure", 1)):
        if left() < 0:
            have[part] = min(have[part], least)
    for part, most in GROWTH:
        times = each if part == "figure" else 1
        for rows in sizes[part]:
            more = times * (rows - have[part])
            if part == "cue" and left() < more <= left() + have["table"] and rows == sizes[part][0]:
                have["table"] = 0  # the small figures give way to a cue in big type
            if rows - (label if part == "figure" else 0) <= most and 0 < more <= left():
                have[part] = rows
    if cue:
        have["cue"] += min(MARGIN_MOST, max(0, left()))
    return RideRows(
        **have,
        side_by_side=arrangement.side_by_side,
        label_above=arrangement.label_above,
        table_columns=columns,
        spare=max(0, left()),
    )
