"""The quiet line with the age of the data and their source."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.content.frame import AgeContent
from groundside.dashboard.drawing.painted import Line, Painted, joined


class AgeLine(Painted):
    """Shows the age first, then as many of the other parts as fit."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"age--fresh", "age--stale"}

    def paint(self, size: Size) -> list[Line]:
        """Return the parts that fit, joined."""
        width = size.width
        content: AgeContent = self.content
        text = f" {joined(content.parts, width - 2)} "
        return [[(text, "age--stale" if content.stale else "age--fresh")]]
