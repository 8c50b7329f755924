"""The way home: an arrow, and the rest in words beside it."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.content.home import CAUTIONS, HomeContent
from groundside.dashboard.drawing.block_font import GLYPHS, draw, fitting
from groundside.dashboard.drawing.home_arrow import home_arrow
from groundside.dashboard.drawing.painted import Line, Painted, Piece, wrapped

ARROW_ROWS_MOST = 24
ARROW_ROWS_LEAST = 3
TEXT_COLUMNS = 24
"""Least width that the arrow leaves for the words [columns]; the arrow takes at most half."""
VERDICT_FROM_ROWS, VERDICT_ROWS = 14, 7
"""Height from which the verdict is in big type, and the most rows of that type."""


class WayPage(Painted):
    """Shows a `HomeContent` without its big figures, or a question; always ends with a caution."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "way--arrow",
        "way--verdict",
        "way--text",
        "way--strong",
        "way--quiet",
    }

    def paint(self, size: Size) -> list[Line]:
        """Draw the arrow on the left, and as many sentences as fit."""
        width, height = size.width, size.height
        content, asked = self.content
        arrow: tuple[str, ...] = ()
        rows = min(ARROW_ROWS_MOST, height, (width - TEXT_COLUMNS) // 2, max(9, width // 4))
        if content.arrow_deg is not None and rows >= ARROW_ROWS_LEAST:
            arrow = home_arrow(content.arrow_deg, 2 * rows, rows)
        start = len(arrow[0]) + 2 if arrow else 1
        room = width - start - 1
        words = _large(content, asked, room, height) or _words(content, asked, room, height)
        return beside_arrow(arrow, start, words, height)


def beside_arrow(arrow: tuple[str, ...], start: int, words: list[Piece], height: int) -> list[Line]:
    """Return lines with the arrow on the left, and a text beside it from column `start` on."""
    lines: list[Line] = []
    for y in range(height):
        drawn = f" {arrow[y]}" if y < len(arrow) else ""
        line: Line = [(drawn.ljust(start), "way--arrow")]
        if y < len(words):
            line.append(words[y])
        lines.append(line)
    return lines


def _large(content: HomeContent, asked: str, room: int, height: int) -> list[Piece]:
    """Return the words with a big verdict and blank lines between them; none if they do not fit."""
    big = content.verdict.upper()
    if asked or content.cue.word or height < VERDICT_FROM_ROWS or not set(big) <= set(GLYPHS):
        return []
    letters = fitting(big, room, VERDICT_ROWS)
    if letters is None:
        return []
    groups = (
        [(content.turn[1], "way--strong")],
        [(text, "way--strong") for text in (*content.do, content.why)],
        [(text, "way--text") for text in content.cost],
        [(content.water, "way--quiet")],
        [(CAUTIONS[-1], "way--quiet")],
    )
    lines: list[Piece] = [(row, "way--arrow") for row in draw(big, letters)]
    for group in groups:
        more = [(line, style) for text, style in group for line in wrapped(text, room) if text]
        lines += [("", "way--text"), *more] if more else []
    return lines if len(lines) <= height else []


def _words(content: HomeContent, asked: str, room: int, height: int) -> list[Piece]:
    """Return the lines beside the arrow: verdict, turn, advice, cost, water, caution."""
    if asked:
        return [(line, "way--verdict") for line in wrapped(asked, room)]
    full = room >= 2 * TEXT_COLUMNS
    sentences = [
        (f"{content.verdict.upper()}", "way--verdict"),
        (content.turn[1 if full else 0], "way--strong"),
        *((text, "way--strong") for text in (*content.do, content.why)),
        *((text, "way--text") for text in content.cost),
        (content.water, "way--quiet"),
    ]
    if content.cue.word:  # shown by the cue above
        sentences = sentences[1:]
    short = [(line, "way--quiet") for line in wrapped(CAUTIONS[0], room)]
    left = height - len(short)
    lines: list[Piece] = []
    for text, style in sentences:
        more = [(line, style) for line in wrapped(text, room)] if text else []
        if len(lines) + len(more) > left:
            break
        lines += more
    for caution in reversed(CAUTIONS):
        more = [(line, "way--quiet") for line in wrapped(caution, room)]
        if len(lines) + len(more) <= height:
            return [*lines, *more]
    return lines
