"""Rows of the frame around every view."""

from onboard.dataclass import dataclass

NARROW_COLUMNS, TALL_ROWS, LAPTOP_COLUMNS = 60, 32, 110
"""A terminal narrower than the first is taken for a phone. It gets buttons for thumbs, and so does
one as tall as the second and narrower than the third."""
ONE_ROW_COLUMNS = 72
"""Width from which every tab has room for its key before its label; below that it stands above."""
AGE_ROWS = 24
"""Height below which the age row goes to the view while the data are fresh."""
BUTTON_ROWS = 3
"""44 px high at 15 px a row: WCAG 2.2, success criterion 2.5.5."""
TOUCH_ROWS = 15
"""Height from which all buttons of a touch screen are of that size."""
ROWS_ABOVE = 3
"""Most rows for notices and caution together below `TALL_ROWS`: the caution waits while a notice
needs them all, for an alert is never cut before its advice."""
VIEW_ROWS = 16
"""Height of a view below which buttons cede rows to it: two big figures of five, a cue of six."""
VIEW_ROWS_LEAST = 4


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
    caution: bool = False,
    actions: int = 0,
    age: bool = True,
    replay: bool = False,
    bar: bool = True,
    touch: bool = False,
) -> FrameRows:
    """Allot the rows around a view.

    Parameters
    ----------
    width, height
        Size of the terminal in cells.
    notices
        Rows needed to show the worst notice in full.
    caution
        Whether the caution is still to be read.
    actions
        Number of rows of the view's own buttons.
    age
        Whether the age of the data must be shown: they are old, or a result stands in that row.
    replay
        Whether to show a replay's buttons.
    bar
        Whether to show its time bar too: some views show it themselves.
    touch
        Whether the terminal is known to be a touch screen.
    """
    for_thumbs = touch or width < NARROW_COLUMNS or (height >= TALL_ROWS and width < LAPTOP_COLUMNS)
    each = BUTTON_ROWS if for_thumbs else 1
    tab_rows = rows_of_tabs(width)
    each_tab = max(each, 2) if width < ONE_ROW_COLUMNS else each
    if width < NARROW_COLUMNS and not touch and height < TALL_ROWS:
        each_tab = 2
    rows = {
        "actions": each * actions,
        "controls": each if replay else 0,
        "tabs": each_tab * tab_rows,
    }
    waits = notices >= ROWS_ABOVE and height < TALL_ROWS
    fixed = {
        "notices": notices,
        "caution": 0 if waits or not caution else BUTTON_ROWS if touch else 1,
        "age": int(age or height >= AGE_ROWS),
        "replay": int(replay and bar),
    }
    lines = {"controls": int(replay), "actions": actions, "tabs": tab_rows}

    def view() -> int:
        return height - sum(rows.values()) - sum(fixed.values())

    def cede(most: int, wanted: int) -> None:
        for part, count in lines.items():
            if view() < wanted:
                rows[part] = min(rows[part], most * count)

    if not touch or height < TOUCH_ROWS:
        cede(2, VIEW_ROWS)
        cede(1, VIEW_ROWS // 2)
    for part, least in (
        *(("caution", 1), ("controls", 0), ("age", 0)),
        *(("replay", 0), ("caution", 0), ("notices", 1)),
    ):
        if view() < VIEW_ROWS_LEAST:
            table = rows if part in rows else fixed
            table[part] = min(table[part], least)
    cede(2, VIEW_ROWS_LEAST)
    cede(1, VIEW_ROWS_LEAST)
    return FrameRows(**fixed, **rows, view=max(0, view()))


def rows_of_tabs(width: int) -> int:
    """Return the number of rows in which the tabs stand: two on a phone held upright."""
    return 2 if width < NARROW_COLUMNS else 1
