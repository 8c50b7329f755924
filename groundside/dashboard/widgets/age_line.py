"""The quiet line with the age of the data and the results of commands."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.content.frame import AgeContent
from groundside.dashboard.drawing.painted import Line, Painted, joined


class AgeLine(Painted):
    """Shows the age first, then as many of the other parts as fit."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"age--fresh", "age--stale", "age--asks"}

    def paint(self, size: Size) -> list[Line]:
        """Return the parts that fit, joined."""
        width = size.width
        content: AgeContent = self.content
        text = f" {joined(content.parts, width - 2)} "
        style = "age--asks" if content.asks else "age--stale" if content.stale else "age--fresh"
        return [[(text, style)]]
