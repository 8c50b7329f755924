"""Buttons that a wet thumb can hit, side by side: the tabs, and what a view offers.

Each names its key, so that what can be tapped can be learned for the keyboard too.
"""

from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.widgets.painted import Line, Painted, shortened


@dataclass(frozen=True)
class Button:
    """A button.

    Parameters
    ----------
    label
        What it does, in a word or two.
    action
        The app's action behind it, with its parameters, such as `view('curve')`.
    key
        The key that does the same, empty for none.
    on
        Whether it is the chosen one of its row.
    short
        A label of five letters at most for where there is little room; empty for the label's own.
    """

    label: str
    action: str
    key: str = ""
    on: bool = False
    short: str = ""


def rows_of(buttons: tuple[Button, ...], width: int, least: int = 7) -> list[list[Button]]:
    """Break buttons into rows so that each is at least `least` cells wide."""
    across = max(1, min(len(buttons), width // least))
    return [list(buttons[n : n + across]) for n in range(0, len(buttons), across)]


class ButtonBar(Painted):
    """Shows buttons in one or more rows of equal cells; `shown` is a tuple of buttons."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"button--even", "button--odd", "button--on"}

    least_width = 7

    class Pressed(Message):
        """A button was pressed."""

        def __init__(self, action: str) -> None:
            super().__init__()
            self.action = action

    def paint(self, size: Size) -> list[Line]:
        """Draw the cells; each label stands in the middle of its cell."""
        rows = rows_of(self.shown, size.width, self.least_width)
        lines: list[Line] = []
        for number, row in enumerate(rows):
            top, end = number * size.height // len(rows), (number + 1) * size.height // len(rows)
            for y in range(top, end):
                lines.append(_line(row, size.width, number, y == (top + end - 1) // 2))
        return lines

    def on_click(self, event: events.Click) -> None:
        """Press what was tapped."""
        rows = rows_of(self.shown or (), self.size.width, self.least_width)
        if not self.shown or not self.size.height:
            return
        row = rows[min(event.y * len(rows) // self.size.height, len(rows) - 1)]
        event.stop()
        place = min(event.x * len(row) // self.size.width, len(row) - 1)
        self.post_message(self.Pressed(row[place].action))


def _line(row: list[Button], width: int, number: int, with_label: bool) -> Line:
    line: Line = []
    for place, button in enumerate(row):
        begin, end = place * width // len(row), (place + 1) * width // len(row)
        style = "button--even" if (place + number) % 2 else "button--odd"
        text = _label(button, end - begin) if with_label else ""
        line.append((text.center(end - begin), "button--on" if button.on else style))
    return line


def _label(button: Button, width: int) -> str:
    with_key = f"{button.key} {button.label}" if button.key else button.label
    for text in (with_key, button.label, button.short):
        if text and len(text) <= width - 1:
            return text
    return shortened(button.short or button.label, width)
