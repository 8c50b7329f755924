"""The cue against the target, by word, shape and place, never by colour alone."""

from typing import ClassVar

from textual import events
from textual.geometry import Size

from groundside.dashboard.content.ride import CueContent
from groundside.dashboard.drawing.block_font import TypeSize, draw, fitting
from groundside.dashboard.drawing.painted import Line, Painted, joined, shortened, wrapped
from groundside.dashboard.widgets.button_bar import ButtonBar

WORD_TEMPLATE = "EASE"
TEXT_ROWS_MOST = 3


class CueBar(Painted):
    """Shows `ease` on the left with a falling shape, `push` on the right with a rising one.

    `hold` is in the middle between level bars, `turn` between bars that close in. A tap opens the
    view in which the target is set, or the way home.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {"cue--word", "cue--turn", "cue--text", "cue--none"}

    @staticmethod
    def text_rows(content: CueContent, width: int) -> int:
        """Return the number of rows of the text in place of a cue."""
        if content.word or not content.parts:
            return 0
        return min(TEXT_ROWS_MOST, len(wrapped(" ".join(content.parts), max(8, width - 2))))

    def on_click(self, event: events.Click) -> None:
        """Open the view that the cue comes from."""
        event.stop()
        view = "home" if self.content is not None and self.content.word == "turn" else "aim"
        self.post_message(ButtonBar.Pressed(f"view('{view}')"))

    def paint(self, size: Size) -> list[Line]:
        """Draw the word with its shape, and the sentence below if there is room."""
        width, height = size.width, size.height
        content: CueContent = self.content
        if not content.word:
            texts = wrapped(" ".join(content.parts) or "no cue", width - 2)
            top = max(0, (height - len(texts)) // 2)
            blank: Line = [(" " * width, "cue--none")]
            lines: list[Line] = [blank] * height
            for y, text in enumerate(texts[: height - top]):
                lines[top + y] = [(f" {text}".ljust(width), "cue--none")]
            return lines
        style = "cue--turn" if content.word == "turn" else "cue--word"
        # the word cedes a row to the sentence, as the difference from the target matters too
        text_rows = 1 if height > 1 else 0
        letters = fitting(WORD_TEMPLATE, width - 12, height - text_rows)
        if letters is None:
            sign = {"ease": "vv", "hold": "==", "push": "^^", "turn": "!!"}[content.word]
            word = f" {sign} {content.word.upper()} {sign}  "
            word += joined(content.parts, width - len(word) - 1)
            return [[(shortened(word, width).ljust(width), style)]]
        lines = [[(line, style)] for line in _placed(content.word, letters, width)]
        if text_rows:
            text = joined(content.parts, width - 2)
            place = {"ease": text.ljust, "push": text.rjust}.get(content.word, text.center)
            lines.append([(f" {place(width - 2)} ", "cue--text")])
        return lines


def _placed(word: str, size: TypeSize, width: int) -> list[str]:
    """Draw a word in big type with its shape, at its place in the width."""
    drawn = draw(word.upper(), size)
    rows = len(drawn)
    if word == "turn":
        side = (width - len(drawn[0])) // 2 - 2
        widths = [min(side, 2 * min(y, rows - 1 - y) + 1) for y in range(rows)]
        sides = zip(widths, drawn, strict=True)
        return [f"{'█' * w:<{side}} {line} {'█' * w:>{side}}".center(width) for w, line in sides]
    if word == "hold":
        side = (width - len(drawn[0])) // 2 - 2
        thick = max(1, rows // 5)
        level = [
            thick <= y < 2 * thick or rows - 2 * thick <= y < rows - thick for y in range(rows)
        ]
        bars = [("█" if on else " ") * min(side, 2 * rows) for on in level]
        whole = [f"{bar} {line} {bar}" for bar, line in zip(bars, drawn, strict=True)]
        return [line.center(width) for line in whole]
    widths = [min(2 * y + 1, 2 * rows) for y in range(rows)]
    if word == "ease":
        widths.reverse()
    widest = max(widths)
    shape = [("█" * w).center(widest) for w in widths]
    if word == "ease":
        return [f" {s} {line}".ljust(width) for s, line in zip(shape, drawn, strict=True)]
    return [f"{line} {s} ".rjust(width) for s, line in zip(shape, drawn, strict=True)]
