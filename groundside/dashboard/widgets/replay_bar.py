"""The time bar of a replay: where it is, of how much, and how fast it runs."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.face import ReplayFace
from groundside.dashboard.widgets.painted import Line, Painted, shortened


class ReplayBar(Painted):
    """Shows the state in words and the place in the log as a bar."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"replay--text", "replay--done", "replay--rest"}

    def paint(self, size: Size) -> list[Line]:
        """Write the state, then fill the rest of the row with the bar."""
        width = size.width
        face: ReplayFace = self.shown
        head = f" {face.state} {face.at}" + (f" of {face.of}" if face.of and width >= 60 else "")
        head = shortened(head, width) + " "
        room = width - len(head) - 1
        if room < 4:
            return [[(head, "replay--text")]]
        done = round(room * face.fraction)
        return [
            [
                (head, "replay--text"),
                ("█" * done, "replay--done"),
                ("─" * (room - done), "replay--rest"),
            ]
        ]
