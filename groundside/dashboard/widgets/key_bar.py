"""The key hints at the bottom; each can be clicked or tapped."""

from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.widgets.painted import Line, Painted


@dataclass(frozen=True)
class KeyHint:
    """A key, what it does in a word, and the action behind it."""

    key: str
    label: str
    action: str

    @property
    def width(self) -> int:
        """Columns of the hint with a space on either side."""
        return len(self.key) + len(self.label) + 3


def in_rows(hints: tuple[KeyHint, ...], width: int) -> list[list[KeyHint]]:
    """Break the hints into rows."""
    rows: list[list[KeyHint]] = [[]]
    for hint in hints:
        if rows[-1] and sum(h.width for h in rows[-1]) + hint.width > width:
            rows.append([])
        rows[-1].append(hint)
    return rows


class KeyBar(Painted):
    """Shows the hints in as many rows as they need."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"keys--key", "keys--label"}

    class Chosen(Message):
        """A hint was clicked."""

        def __init__(self, action: str) -> None:
            super().__init__()
            self.action = action

    def paint(self, size: Size) -> list[Line]:
        """Write the hints row by row."""
        width = size.width
        return [
            [
                piece
                for hint in row
                for piece in ((f" {hint.key}", "keys--key"), (f" {hint.label} ", "keys--label"))
            ]
            for row in in_rows(self.shown, width)
        ]

    def on_click(self, event: events.Click) -> None:
        """Find the hint under the pointer."""
        event.stop()
        rows = in_rows(self.shown, self.size.width)
        if event.y >= len(rows):
            return
        start = 0
        for hint in rows[event.y]:
            if start <= event.x < start + hint.width:
                self.post_message(self.Chosen(hint.action))
                return
            start += hint.width
