"""The time bar of a replay: where it is, of how much, how fast it runs, and what came up where."""

from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted, shortened
from groundside.dashboard.faces.frame import ReplayFace

PLAYED, READY, AHEAD, EVENT = "█", "─", "·", "|"


class ReplayBar(Painted):
    """Shows the state in words and the place in the log as a bar; a tap on the bar goes there."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"replay--text", "replay--done", "replay--rest"}

    class Tapped(Message):
        """The bar was tapped at a share of the whole time."""

        def __init__(self, fraction: float) -> None:
            super().__init__()
            self.fraction = fraction

    def paint(self, size: Size) -> list[Line]:
        """Write the state, then fill the rest of the row with the bar."""
        head, room = self._head(size.width)
        if room < 4:
            return [[(head, "replay--text")]]
        face: ReplayFace = self.shown
        done = round(room * face.fraction)
        ready = max(done, round(room * face.ready_fraction))
        cells = PLAYED * done + READY * (ready - done) + AHEAD * (room - ready)
        for fraction in face.events:
            at = min(int(room * fraction), room - 1)
            if at >= done:
                cells = cells[:at] + EVENT + cells[at + 1 :]
        return [
            [(head, "replay--text"), (cells[:done], "replay--done"), (cells[done:], "replay--rest")]
        ]

    def on_click(self, event: events.Click) -> None:
        """Go to where the bar was tapped; a tap on the words means nothing."""
        if self.shown is None:
            return
        head, room = self._head(self.size.width)
        event.stop()
        if room >= 4 and event.x >= len(head):
            self.post_message(self.Tapped(min((event.x - len(head) + 0.5) / room, 1.0)))

    def _head(self, width: int) -> tuple[str, int]:
        """Return the words, and how many cells are left for the bar."""
        face: ReplayFace = self.shown
        head = f" {face.state} {face.at}" + (f" of {face.of}" if face.of and width >= 60 else "")
        head = shortened(head, width) + " "
        return head, width - len(head) - 1
