"""The quiet line that says how old the data are and where they come from."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.content.frame import AgeContent
from groundside.dashboard.drawing.painted import Line, Painted, joined


class AgeLine(Painted):
    """Shows the age first; what does not fit behind it is left away."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"age--fresh", "age--stale"}

    def paint(self, size: Size) -> list[Line]:
        """Join as many parts as fit."""
        width = size.width
        content: AgeContent = self.content
        text = f" {joined(content.parts, width - 2)} "
        return [[(text, "age--stale" if content.stale else "age--fresh")]]
