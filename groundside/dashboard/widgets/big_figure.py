"""A figure in big type, with its unit, its interval and, if it is unknown, the reason."""

from typing import ClassVar

from textual.containers import Container
from textual.geometry import Size

from groundside.dashboard.content.ride import BigFigureContent
from groundside.dashboard.drawing.block_font import draw, fitting
from groundside.dashboard.drawing.kept import Kept
from groundside.dashboard.drawing.painted import (
    Line,
    Painted,
    Piece,
    piece_width,
    shortened,
    wrapped,
)
from groundside.dashboard.layout.ride_rows import BIG_FIGURE_TEMPLATE, SIDE_COLUMNS
from groundside.words.figures import UNKNOWN


class BigFigure(Painted):
    """Shows a big figure, its label beside it in a narrow terminal and above it in a wide one."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "figure--digits",
        "figure--stale",
        "figure--unknown",
        "figure--unit",
        "figure--label",
        "figure--interval",
    }

    label_above = False

    def set_label_above(self, above: bool) -> None:
        """Put the label above the digits or beside them."""
        if above != self.label_above:
            self.label_above = above
            self.lay_out()

    def paint(self, size: Size) -> list[Line]:
        """Draw the digits with unit, label and interval."""
        content: BigFigureContent = self.content
        width = size.width
        rows = size.height - 1 if self.label_above else size.height
        # sized by the template, not by the value, so that the size does not jump
        template_room = width - 2 if self.label_above else width - SIDE_COLUMNS
        letters = fitting(BIG_FIGURE_TEMPLATE, template_room, rows)
        unknown = content.digits is None
        digits = UNKNOWN if content.digits is None else content.digits
        if letters is None or letters.width(digits) > width - 2:
            letters = fitting(digits, width - 2, rows)
        if letters is None:
            more = content.why if unknown else content.interval
            text = f" {content.label} {digits} {content.unit} {more}"
            return [[(shortened(text, width), _style(content))]]
        drawn = draw(digits, letters, hatched=content.stale)
        used = (
            digits
            if unknown or self.label_above
            else max(digits, BIG_FIGURE_TEMPLATE, key=letters.width)
        )
        start = letters.width(used) + 2
        room = max(0, width - start)
        notes: list[Piece] = [(text, "figure--label") for text in wrapped(content.why, room)]
        if self.label_above:
            top = max(0, (len(drawn) - len(notes)) // 2)
            notes = [("", "")] * top + (notes if unknown else [])
            return [_head(content, width), *_with_notes(drawn, _style(content), start, room, notes)]
        head: list[Piece] = [(content.unit, "figure--unit"), (content.label, "figure--label")]
        if not unknown:
            blank: list[Piece] = [("", "")] if len(drawn) > 4 else []
            notes = [*blank, (content.interval, "figure--interval")]
        return _with_notes(drawn, _style(content), start, room, head + notes)


class BigFigures(Container, Kept):
    """Two big figures: side by side in a wide terminal, one above the other in a narrow one."""

    def __init__(self, first: BigFigure, second: BigFigure, *, id: str) -> None:
        super().__init__(first, second, id=id)
        self._both = (first, second)

    def set_rows(self, rows: int, *, side_by_side: bool, label_above: bool) -> None:
        """Set the height of each figure with its label, and the arrangement."""
        self.styles.layout = "horizontal" if side_by_side else "vertical"
        for figure in self._both:
            figure.styles.height = rows
            figure.set_label_above(label_above)


def _style(content: BigFigureContent) -> str:
    if content.digits is None:
        return "figure--unknown"
    return "figure--stale" if content.stale else "figure--digits"


def _head(content: BigFigureContent, width: int) -> Line:
    """Write unit, label and interval on the row above the digits."""
    head: Line = [(f" {content.unit} ", "figure--unit"), (f" {content.label}", "figure--label")]
    space = width - piece_width(head) - len(content.interval) - 1
    if content.interval and space > 0:
        head += [(" " * space, ""), (content.interval, "figure--interval")]
    return head


def _with_notes(
    drawn: tuple[str, ...], style: str, start: int, room: int, notes: list[Piece]
) -> list[Line]:
    """Put notes to the right of drawn digits, one per row from the top."""
    lines: list[Line] = []
    for y, digits in enumerate(drawn):
        line: Line = [(f" {digits}".ljust(start), style)]
        if y < len(notes) and room > 0:
            line.append((shortened(notes[y][0], room), notes[y][1]))
        lines.append(line)
    return lines
