"""The caution shown above the figures until the rider has read it."""

from typing import ClassVar

from textual import events
from textual.geometry import Size

from groundside.dashboard.drawing.painted import Line, Painted
from groundside.dashboard.notices import CAUTION, SHORT_CAUTION
from groundside.dashboard.widgets.button_bar import ButtonBar

KEY, TOUCH_KEY = "enter", "tap"


class CautionBar(Painted):
    """Shows the caution in a row with its key; that key, or a tap anywhere on it, dismisses it."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"caution--text", "caution--key"}

    touch = False

    def paint(self, size: Size) -> list[Line]:
        """Write the caution, in full if there is room, and its key at the end."""
        width, key = size.width, f" {TOUCH_KEY if self.touch else KEY} "
        room = width - len(key) - 1
        text = CAUTION if len(CAUTION) <= room else SHORT_CAUTION[:room]
        lines: list[Line] = [[(" " * width, "caution--text")] for _ in range(size.height)]
        lines[(size.height - 1) // 2] = [
            (f" {text}".ljust(width - len(key)), "caution--text"),
            (key, "caution--key"),
        ]
        return lines

    def on_click(self, event: events.Click) -> None:
        """Take a tap anywhere as the confirmation."""
        event.stop()
        self.post_message(ButtonBar.Pressed("caution_read"))
