"""A widget that paints its own lines and sends only changed ones to the terminal."""

from typing import Any

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

Piece = tuple[str, str]
"""A text and the name of its component style; an empty name is the widget's own style."""
Line = list[Piece]


def piece_width(line: Line) -> int:
    """Return the width of a line in columns; all texts here are of single width."""
    return sum(len(text) for text, _ in line)


def shortened(text: str, width: int) -> str:
    """Return a text cut to a width; two dots mark a cut."""
    if len(text) <= width:
        return text
    return text[: max(0, width - 2)].rstrip() + ".." if width > 2 else text[:width]


def joined(parts: tuple[str, ...], width: int) -> str:
    """Return the first part, joined by as many of the others as fit whole."""
    text = shortened(parts[0], width) if parts else ""
    for part in parts[1:]:
        if len(text) + 2 + len(part) <= width:
            text += f"  {part}"
    return text


def wrapped(text: str, width: int) -> list[str]:
    """Return a text wrapped at spaces; a word longer than a line is cut."""
    lines: list[str] = []
    here = ""
    for word in text.split():
        if here and len(here) + 1 + len(word) > width:
            lines.append(here)
            here = word
        else:
            here = f"{here} {word}".strip()
    lines.append(here)
    return [shortened(line, width) for line in lines]


class Painted(Widget):
    """Base of the dashboard's widgets.

    A subclass paints its `content` as lines of styled pieces. Setting equal content has no effect.
    """

    ALLOW_SELECT = False

    content: reactive[Any] = reactive(None, layout=False, repaint=False)

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._lines: list[Line] = []
        self._painted_for: Size | None = None
        self._styles: dict[str, Style] = {}
        """Styles by the names of pieces; the toolkit would work each out anew for every line."""
        self._styled_for = ""

    def style_of(self, name: str) -> Style:
        """Return the style of pieces called `name`; the widget's own for no name."""
        if self._styled_for != self.app.theme:
            self._styles, self._styled_for = {}, self.app.theme
        if name not in self._styles:
            self._styles[name] = self.get_component_rich_style(name) if name else self.rich_style
        return self._styles[name]

    def notify_style_update(self) -> None:
        """Forget the styles: a class of the widget or of one around it has changed."""
        self._styles = {}
        super().notify_style_update()

    def paint(self, size: Size) -> list[Line]:
        """Return the lines that show `content` in a given size."""
        raise NotImplementedError

    def watch_content(self) -> None:
        """Repaint only the lines that changed."""
        size = self.size
        if not size.area:  # hidden: the lines cached by the toolkit are no longer valid
            self._painted_for = None
            self.refresh()
            return
        before = self._lines
        after = self._repaint_lines()
        changed = [
            Region(0, y, size.width, 1)
            for y in range(size.height)
            if before[y : y + 1] != after[y : y + 1]
        ]
        if changed:
            self.refresh(*changed)

    def _repaint_lines(self) -> list[Line]:
        size = self.size
        self._painted_for = size
        paintable = self.content is not None and size.area > 0
        self._lines = self.paint(size)[: size.height] if paintable else []
        return self._lines

    def on_show(self) -> None:
        """Repaint: the content may have changed while hidden."""
        self.lay_out()

    def lay_out(self) -> None:
        """Repaint all lines."""
        self._repaint_lines()
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """Return one line, as the toolkit asks for it."""
        width = self.size.width
        if self._painted_for != self.size:  # the toolkit asks for all lines after a resize
            self._repaint_lines()
        line = self._lines[y] if y < len(self._lines) else []
        segments = [Segment(text, self.style_of(name)) for text, name in line]
        return Strip(segments, piece_width(line)).adjust_cell_length(width, self.style_of(""))
