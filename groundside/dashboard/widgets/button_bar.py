"""Rows of buttons large enough for a wet thumb: the tabs, and those of a view.

Each shows its key, so that tapping teaches the keyboard.
"""

from bisect import bisect_right
from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted, shortened
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


def rows_of(buttons: tuple[Button, ...], width: int, least: int = 7) -> list[list[Button]]:
    """Return buttons arranged in rows, each at least `least` cells wide."""
    most = max(1, width // least)
    rows = max(1, -(-len(buttons) // most))
    across = max(1, -(-len(buttons) // rows))  # rows of equal length
    return [list(buttons[n : n + across]) for n in range(0, len(buttons), across)]


def edges_of(row: list[Button], width: int) -> list[int]:
    """Return the start column of each cell of a row, and the row's end.

    Cells have equal widths; if a label would fill its cell, widths follow the labels instead, so
    that there is a blank between two words.

    Examples
    --------
    >>> edges_of([Button("ride", ""), Button("curve", ""), Button("trip", "")], 15)
    [0, 5, 11, 15]
    """
    count = len(row)
    even = [place * width // count for place in range(count + 1)]
    longest = max(len(button.short or button.label) for button in row)
    if longest < width // count:
        return even
    wanted = [len(button.short or button.label) + 1 for button in row]
    spare = width - sum(wanted) + 1
    if spare < 0:
        return even
    edges = [0]
    for place, cells in enumerate(wanted, 1):
        edges.append(edges[-1] + cells + place * spare // count - (place - 1) * spare // count)
    return [*edges[:-1], width]


class ButtonBar(Painted):
    """Shows buttons in one or more rows of equal cells; `content` is a tuple of buttons."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"button--even", "button--odd", "button--on"}

    least_width = 7

    @dataclass
    class Pressed(Message):
        """A button was pressed."""

        action: str

    def paint(self, size: Size) -> list[Line]:
        """Draw the cells, each with its label in the middle."""
        rows = rows_of(self.content, size.width, self.least_width)
        lines: list[Line] = []
        for number, row in enumerate(rows):
            top, end = number * size.height // len(rows), (number + 1) * size.height // len(rows)
            for y in range(top, end):
                lines.append(_line(row, size.width, number, y == (top + end - 1) // 2))
        return lines

    def on_click(self, event: events.Click) -> None:
        """Press the button that was tapped."""
        rows = rows_of(self.content or (), self.size.width, self.least_width)
        if not self.content or not self.size.height:
            return
        row = rows[min(event.y * len(rows) // self.size.height, len(rows) - 1)]
        event.stop()
        place = bisect_right(edges_of(row, self.size.width)[1:-1], event.x)
        self.post_message(self.Pressed(row[place].action))


def _line(row: list[Button], width: int, number: int, with_label: bool) -> Line:
    line: Line = []
    edges = edges_of(row, width)
    for place, button in enumerate(row):
        begin, end = edges[place], edges[place + 1]
        style = "button--even" if (place + number) % 2 else "button--odd"
        text = _label(button, end - begin) if with_label else ""
        cells = end - begin
        # a single spare blank goes after the word, so that two words never touch
        text = f"{text} " if cells - len(text) == 1 else text.center(cells)
        line.append((text, "button--on" if button.on else style))
    return line


def _label(button: Button, width: int) -> str:
    with_key = f"{button.key} {button.label}" if button.key else button.label
    for text in (with_key, button.label, button.short):
        if text and len(text) <= width - 1:
            return text
    return shortened(button.short or button.label, width)
