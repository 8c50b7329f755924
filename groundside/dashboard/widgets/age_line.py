"""The quiet line that says how old the data are and where they come from."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.drawing.painted import Line, Painted, joined
from groundside.dashboard.faces.frame import AgeFace


class AgeLine(Painted):
    """Shows the age first; what does not fit behind it is left away."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"age--fresh", "age--stale"}

    def paint(self, size: Size) -> list[Line]:
        """Join as many parts as fit."""
        width = size.width
        face: AgeFace = self.shown
        text = f" {joined(face.parts, width - 2)} "
        return [[(text, "age--stale" if face.stale else "age--fresh")]]
