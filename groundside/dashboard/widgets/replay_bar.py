"""The time bar of a replay: its place, speed and events."""

from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.content.frame import ReplayContent
from groundside.dashboard.drawing.painted import Line, Painted, shortened
from onboard.dataclass import dataclass

PLAYED, READY, AHEAD, EVENT = "█", "─", "·", "|"


class ReplayBar(Painted):
    """Shows the status in words and the place in the log as a bar; a tap on the bar seeks."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"replay--text", "replay--done", "replay--rest"}

    @dataclass
    class Tapped(Message):
        """The bar was tapped at a share of its length."""

        fraction: float

    def paint(self, size: Size) -> list[Line]:
        """Write the status, and draw the bar in the rest of the row."""
        head, room = self._head(size.width)
        if room < 4:
            return [[(head, "replay--text")]]
        content: ReplayContent = self.content
        done = round(room * content.fraction)
        ready = max(done, round(room * content.ready_fraction))
        cells = PLAYED * done + READY * (ready - done) + AHEAD * (room - ready)
        for fraction in content.events:
            at = min(int(room * fraction), room - 1)
            if at >= done:
                cells = cells[:at] + EVENT + cells[at + 1 :]
        return [
            [(head, "replay--text"), (cells[:done], "replay--done"), (cells[done:], "replay--rest")]
        ]

    def on_click(self, event: events.Click) -> None:
        """Seek to the place of a tap on the bar; ignore taps on the words."""
        if self.content is None:
            return
        head, room = self._head(self.size.width)
        event.stop()
        if room >= 4 and event.x >= len(head):
            self.post_message(self.Tapped(min((event.x - len(head) + 0.5) / room, 1.0)))

    def _head(self, width: int) -> tuple[str, int]:
        """Return the words, and the number of cells left for the bar."""
        content: ReplayContent = self.content
        head = f" {content.status} {content.at}" + (
            f" of {content.of}" if content.of and width >= 60 else ""
        )
        head = shortened(head, width) + " "
        return head, width - len(head) - 1
