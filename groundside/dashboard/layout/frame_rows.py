"""Rows of the frame around every view."""

from onboard.dataclass import dataclass

NARROW_COLUMNS, TALL_ROWS = 60, 32
"""A narrower terminal is taken for a phone; a narrower or taller one gets buttons for thumbs."""
BUTTON_ROWS = 3
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
