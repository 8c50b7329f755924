"""Layout: allots the rows of the terminal, so that no view ever scrolls.

First the frame around every view, then the ride view or the home view within the rest. Every part
has a minimum height; spare rows go to the parts in the order in which they help a rider.
"""

from dataclasses import replace

from groundside.dashboard.drawing.block_font import SIZES, SMALLEST_ROWS
from onboard.dataclass import dataclass

SIDE_BY_SIDE_COLUMNS = 72
"""Width from which the big figures are side by side; a narrower terminal stacks them."""
COLUMN_OF_TABLE = 20
MOST_COLUMNS = 4
CELLS_OF_TABLE = 16
BIG_FIGURE_TEMPLATE = "88.8"
CUE_ROWS_WITH_TEXT = 6

NARROW_COLUMNS, TALL_ROWS = 60, 32
"""A narrower terminal is taken for a phone; a narrower or taller one gets buttons for thumbs."""
BUTTON_ROWS = 3
VIEW_ROWS = 16
"""Height of a view below which buttons cede rows to it: two big figures of five, a cue of six."""
VIEW_ROWS_LEAST = 4
WAY_ROWS = (9, 7, 4)
"""Heights of the way home, tried in turn: with a large arrow if there is room."""


@dataclass(frozen=True)
class FrameRows:
    """Heights of the parts around every view, in rows; a part with 0 is not shown.

    Parameters
    ----------
    notices, caution, view, actions, controls, age, replay, tabs
        Height of each part; `actions` are the view's own buttons, `controls` those of a replay.
    """

    notices: int
    caution: int
    view: int
    actions: int
    controls: int
    age: int
    replay: int
    tabs: int


def frame_rows(
    width: int,
    height: int,
    *,
    notices: int = 1,
    caution: int = 0,
    actions: int = 0,
    replay: bool = False,
    touch: bool = False,
) -> FrameRows:
    """Allot the rows around a view.

    Parameters
    ----------
    width, height
        Size of the terminal in cells.
    notices, caution
        Rows needed to show the worst notice and the caution in full.
    actions
        Number of rows of buttons of the view.
    replay
        Whether to show a replay's time bar with its buttons.
    touch
        Whether the terminal is known to be a touch screen.
    """
    each = BUTTON_ROWS if touch or width < NARROW_COLUMNS or height >= TALL_ROWS else 1
    tabs = each * (2 if tabs_in_two_rows(width, height) else 1)
    rows = {"actions": each * actions, "controls": each if replay else 0, "tabs": tabs}
    fixed = {"notices": notices, "caution": caution, "age": 1, "replay": int(replay)}

    def view() -> int:
        return height - sum(rows.values()) - sum(fixed.values())

    for most, wanted in ((2, VIEW_ROWS), (1, VIEW_ROWS // 2)):
        for part, lines in (("controls", int(replay)), ("actions", actions), ("tabs", 1)):
            if view() < wanted:
                rows[part] = min(rows[part], most * lines)
    for part, least in (("controls", 0), ("age", 0), ("replay", 0), ("caution", 0), ("notices", 1)):
        if view() < VIEW_ROWS_LEAST:
            table = rows if part in rows else fixed
            table[part] = min(table[part], least)
    return FrameRows(**fixed, **rows, view=max(0, view()))


def tabs_in_two_rows(width: int, height: int) -> bool:
    """Return whether a phone has room for tabs in two rows, twice as wide."""
    return width < NARROW_COLUMNS and height >= TALL_ROWS


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
    """Allot the rows of the home view: the sign to turn back, two big figures, the way.

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
    way = next(rows for rows in WAY_ROWS if rows == WAY_ROWS[-1] or height >= 2 * rows + 4)
    for sign, figure, margin in (
        *((9, 12, True), (7, 9, True), (7, 7, True)),
        *((6, 5, True), (6, 4, True), (6, 4, False), (1, 4, False)),
    ):
        rows = HomeRows(sign if cue else 0, figure + label, way, margin, side_by_side)
        if rows.cue + rows.big_figures + rows.way <= height:
            return replace(rows, way=height - rows.cue - rows.big_figures)
    return HomeRows(min(1, height) if cue else 0, 0, height - int(cue), False, side_by_side)
