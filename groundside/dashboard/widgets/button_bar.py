"""Buttons that a wet thumb can hit, side by side: the tabs, and those of a view.

Each shows its key, so that tapping teaches the keyboard.
"""

from bisect import bisect_right
from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted, shortened


@dataclass(frozen=True)
class Button:
    """A button.

    Parameters
    ----------
    label
        What it does, in a word or two.
    action
        The app's action behind it, with its arguments, such as `view('curve')`.
    key
        The key that does the same, empty for none.
    on
        Whether it is the chosen one of its row.
    short
        A label of at most five letters for little room; empty to cut the label itself.
    """

    label: str
    action: str
    key: str = ""
    on: bool = False
    short: str = ""


def rows_of(buttons: tuple[Button, ...], width: int, least: int = 7) -> list[list[Button]]:
    """Return buttons in rows in which each is at least `least` cells wide."""
    most = max(1, width // least)
    rows = max(1, -(-len(buttons) // most))
    across = max(1, -(-len(buttons) // rows))  # rows of equal length, not a full one and a rest
    return [list(buttons[n : n + across]) for n in range(0, len(buttons), across)]


def edges_of(row: list[Button], width: int) -> list[int]:
    """Return where the cells of a row begin, and its end.

    Cells are even; if a label would fill its cell from end to end, cells are as long as their
    labels need, so that there is a blank between two words.

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
        """Draw the cells; each label stands in the middle of its cell."""
        rows = rows_of(self.content, size.width, self.least_width)
        lines: list[Line] = []
        for number, row in enumerate(rows):
            top, end = number * size.height // len(rows), (number + 1) * size.height // len(rows)
            for y in range(top, end):
                lines.append(_line(row, size.width, number, y == (top + end - 1) // 2))
        return lines

    def on_click(self, event: events.Click) -> None:
        """Press what was tapped."""
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
        # with one blank to spare it stands behind the word, so that two words never touch
        text = f"{text} " if cells - len(text) == 1 else text.center(cells)
        line.append((text, "button--on" if button.on else style))
    return line


def _label(button: Button, width: int) -> str:
    with_key = f"{button.key} {button.label}" if button.key else button.label
    for text in (with_key, button.label, button.short):
        if text and len(text) <= width - 1:
            return text
    return shortened(button.short or button.label, width)
