"""The small figures, in columns."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.content.small_figures import SmallFigure
from groundside.dashboard.drawing.painted import Line, Painted, shortened
from groundside.words.figures import UNKNOWN

VALUE_COLUMNS = 18
"""Columns for a label and its value; the rest of a wider cell is for the interval."""
WIDE_COLUMNS = 28


class FigureTable(Painted):
    """Shows as many small figures as there is room for.

    `content` is a pair: the figures, and whether they are stale.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "table--label",
        "table--value",
        "table--unknown",
        "table--stale",
        "table--interval",
    }

    columns = 2

    def set_columns(self, columns: int) -> None:
        """Set the number of figures side by side."""
        if columns != self.columns:
            self.columns = columns
            self.lay_out()

    def paint(self, size: Size) -> list[Line]:
        """Lay the cells out row by row."""
        width, height = size.width, size.height
        cells: tuple[SmallFigure, ...] = self.content[0]
        stale: bool = self.content[1]
        each = width // self.columns
        lines: list[Line] = []
        for y in range(height):
            line: Line = []
            for cell in cells[y * self.columns : (y + 1) * self.columns]:
                line += self._cell(cell, each, stale)
            lines.append(line)
        return lines

    @staticmethod
    def _cell(cell: SmallFigure, width: int, stale: bool) -> Line:
        """Write one cell: label on the left, value on the right, a space on either side."""
        own = VALUE_COLUMNS if width >= WIDE_COLUMNS else width
        label = shortened(cell.label, own - 2)
        if not cell.known and width > own:
            reason = f"{UNKNOWN} {cell.why}"
            text = shortened(reason, width - len(label) - 4)
            end = " " * (width - len(label) - len(text) - 3)
            return [(f" {label}  ", "table--label"), (text + end, "table--unknown")]
        text = shortened(cell.text, own - len(label) - 3)
        style = "table--stale" if stale else "table--value"
        if not cell.known:
            style = "table--unknown"
        room = width - own
        interval = cell.interval if len(cell.interval) < room else ""
        return [
            (f" {label}", "table--label"),
            (text.rjust(own - len(label) - 2), style),
            (f" {interval}".ljust(room + 1), "table--interval"),
        ]
