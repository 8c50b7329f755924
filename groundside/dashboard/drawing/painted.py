"""A widget that paints its own lines and sends only changed ones to the terminal."""

from typing import Any

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.reactive import reactive
from textual.strip import Strip

from groundside.dashboard.drawing.kept import Forgetful

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


class Painted(Forgetful):
    """Base of the dashboard's widgets.

    A subclass paints its `content` as lines of styled pieces. Setting equal content has no effect,
    and of changed content only the lines that differ are sent to the terminal. Finished strips are
    kept: when another widget changes, the toolkit asks every widget on the screen for its lines,
    and looking up styles through all ancestors is the dearest part of a strip.
    """

    ALLOW_SELECT = False

    content: reactive[Any] = reactive(None, layout=False, repaint=False)

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._lines: list[Line] = []
        self._painted_for: Size | None = None
        self._strips: dict[int, Strip] = {}
        self._styles_by_name: dict[str, Style] = {}

    def paint(self, size: Size) -> list[Line]:
        """Return the lines that show `content` in a given size."""
        raise NotImplementedError

    def watch_content(self) -> None:
        """Repaint only the lines that changed."""
        size = self.size
        if not size.area:  # hidden: what was painted is no longer valid
            self._painted_for = None
            self.refresh()
            return
        before = self._lines
        after = self._repaint_lines()
        changed = [y for y in range(size.height) if before[y : y + 1] != after[y : y + 1]]
        for y in changed:
            self._strips.pop(y, None)
        if changed:
            self.refresh(*(Region(0, y, size.width, 1) for y in changed))

    def _repaint_lines(self) -> list[Line]:
        size = self.size
        if size != self._painted_for:
            self._strips.clear()
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

    def forget(self, everything: bool, /) -> None:
        """Drop finished strips and styles before everything is repainted."""
        if everything:
            self._forget_styles()

    def notify_style_update(self) -> None:
        """Take up changed styles, such as those of another theme."""
        self._forget_styles()
        super().notify_style_update()

    def _forget_styles(self) -> None:
        self._strips.clear()
        self._styles_by_name.clear()

    def _style(self, name: str) -> Style:
        """Return a component's style, or the widget's own for an empty name."""
        style = self._styles_by_name.get(name)
        if style is None:
            style = self.get_component_rich_style(name) if name else self.rich_style
            style = self._styles_by_name[name] = self._filtered(style)
        return style

    def _filtered(self, style: Style) -> Style:
        """Return a style after the app's filters, such as the one to shades of grey."""
        sample = [Segment(" ", style)]
        for each in self.get_line_filters():
            sample = each.apply(sample, self.background_colors[1])
        return sample[0].style or Style.null()

    def render_lines(self, crop: Region) -> list[Strip]:
        """Return the lines of a region, as the toolkit asks for them.

        These widgets have no border, padding or opacity, so lines need no more than their styles.
        """
        if self._painted_for != self.size:  # the toolkit asks for all lines after a resize
            self._repaint_lines()
        strips = [self.render_line(y) for y in crop.line_range]
        left, right = crop.column_span
        if (left, right) != (0, self.size.width):
            strips = [strip.crop(left, right) for strip in strips]
        return strips

    def render_line(self, y: int) -> Strip:
        """Return a line, made anew only if it or a style has changed."""
        strip = self._strips.get(y)
        if strip is None:
            line = self._lines[y] if y < len(self._lines) else []
            segments = [Segment(text, self._style(name)) for text, name in line]
            strip = Strip(segments, piece_width(line)).adjust_cell_length(
                self.size.width, self._style("")
            )
            self._strips[y] = strip
        return strip
