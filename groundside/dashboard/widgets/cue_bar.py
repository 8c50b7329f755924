"""The cue against the target, by word, shape and place, never by colour alone."""

from typing import ClassVar

from textual import events
from textual.geometry import Size

from groundside.dashboard.content.ride import CueContent
from groundside.dashboard.drawing.cue_band import band_lines
from groundside.dashboard.drawing.painted import Line, Painted, wrapped
from groundside.dashboard.widgets.button_bar import ButtonBar

TEXT_ROWS_MOST = 3


class CueBar(Painted):
    """Shows `ease` on the left with a falling shape, `push` on the right with a rising one.

    `hold` is in the middle between level bars, `turn` between bars that close in. A tap opens the
    view in which the target is set, or the way home.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {"cue--word", "cue--turn", "cue--none"}

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
        """Draw the band with word, shape and sentences; without a cue, say why there is none."""
        width, height = size.width, size.height
        content: CueContent = self.content
        if content.word:
            style = "cue--turn" if content.word == "turn" else "cue--word"
            return [[(t, style)] for t in band_lines(content.word, content.parts, width, height)]
        texts = wrapped(" ".join(content.parts) or "no cue", width - 2)[:height]
        lines: list[Line] = [[(" " * width, "cue--none")]] * height
        top = (height - len(texts)) // 2
        for y, text in enumerate(texts):
            lines[top + y] = [(f" {text}".ljust(width), "cue--none")]
        return lines
