"""Rows of buttons large enough for a wet thumb: the tabs, and those of a view.

Each shows its key, so that tapping teaches the keyboard.
"""

from typing import ClassVar

from textual import events
from textual.geometry import Region, Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted
from groundside.dashboard.layout.button_cells import Cell, Written, cells, rows_of
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class Button:
    """A button.

    Parameters
    ----------
    label
        Its action, in a word or two.
    action
        The app's action, with its arguments, such as `view('curve')`.
    key
        The equivalent key; empty for none.
    on
        Whether it is the selected one of its row.
    short
        A label of at most five letters for narrow cells; empty to cut `label`.
    """

    label: str
    action: str
    key: str = ""
    on: bool = False
    short: str = ""


class ButtonBar(Painted):
    """Shows buttons in one or more rows; `content` is a tuple of them."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "button--even",
        "button--odd",
        "button--on",
        "button--key",
    }

    rows: int | None = None
    """Number of rows; None for as few as show every label with its key."""
    touch = False
    """Whether keys may be left out for lack of room."""

    @dataclass
    class Pressed(Message):
        """A button was pressed."""

        action: str

    def placed(self) -> list[tuple[Button, Region, Cell]]:
        """Return each button with its region of the bar and what is written on it."""
        buttons: tuple[Button, ...] = self.content or ()
        size = self.size
        return _placed(buttons, size, self.rows, touch=self.touch) if size.area else []

    def paint(self, size: Size) -> list[Line]:
        """Draw the cells, each with its lines in the middle."""
        lines: list[Line] = [[] for _ in range(size.height)]
        checks = 0
        for button, region, cell in _placed(self.content, size, self.rows, touch=self.touch):
            if region.x == 0:
                checks += 1
            style = "button--even" if checks % 2 else "button--odd"
            checks += 1
            written = dict(enumerate(cell.lines, (region.height - len(cell.lines)) // 2))
            for y in range(region.height):
                line = lines[region.y + y]
                if line:
                    line.append((" ", ""))
                line += _pieces(
                    written.get(y, Written("", "")),
                    cell.end - cell.begin,
                    "button--on" if button.on else style,
                )
        return lines

    def on_click(self, event: events.Click) -> None:
        """Press the tapped button; the blank column after it belongs to it."""
        for button, region, _cell in self.placed():
            if region.contains(event.x, event.y):
                event.stop()
                self.post_message(self.Pressed(button.action))
                return


def _placed(
    buttons: tuple[Button, ...], size: Size, fixed: int | None, *, touch: bool
) -> list[tuple[Button, Region, Cell]]:
    found = []
    rows = rows_of(buttons, size.width, fixed)
    for number, row in enumerate(rows):
        top, end = number * size.height // len(rows), (number + 1) * size.height // len(rows)
        for button, cell in zip(row, cells(row, size.width, end - top, keyless=touch), strict=True):
            right = cell.end + (1 if cell.end < size.width else 0)
            found.append((button, Region(cell.begin, top, right - cell.begin, end - top), cell))
    return found


def _pieces(written: Written, width: int, style: str) -> Line:
    """Return a line of a cell: the key stands out on the page's own paper."""
    left = (width - written.width) // 2
    right = width - written.width - left
    pieces = [
        (" " * left, style),
        (written.key, "button--key"),
        (written.words + " " * right, style),
    ]
    return [piece for piece in pieces if piece[0]]
