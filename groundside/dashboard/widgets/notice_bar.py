"""The notices above every view."""

from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted, wrapped
from groundside.dashboard.notices import Notice

MOST_ROWS = 3
TWO_FROM_ROWS = 24
"""Height of the terminal from which there is room for two notices [rows]."""


class NoticeBar(Painted):
    """Shows the worst notices that fit, and how many more there are."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "notice--danger",
        "notice--warning",
        "notice--note",
        "notice--quiet",
    }

    class Tapped(Message):
        """The notices were tapped."""

    def on_click(self, event: events.Click) -> None:
        """Report a tap."""
        event.stop()
        self.post_message(self.Tapped())

    @staticmethod
    def rows_needed(notices: tuple[Notice, ...], screen: Size) -> int:
        """Return the rows needed for the whole of the worst notice, whose end is the advice."""
        graver = [notice for notice in notices if notice.level in ("danger", "warning")]
        whole = graver[: 2 if screen.height >= TWO_FROM_ROWS else 1]
        count = f" +{len(notices) - len(whole)}" if len(notices) > len(whole) else ""
        texts = [notice.signed for notice in whole[:-1]] + [n.signed + count for n in whole[-1:]]
        rows = sum(len(wrapped(text, screen.width - 2)) for text in texts)
        return max(1, min(MOST_ROWS, rows))

    def paint(self, size: Size) -> list[Line]:
        """Fill the rows, worst first; a longer text takes more rows."""
        width, height = size.width, size.height
        notices: tuple[Notice, ...] = self.content
        lines: list[Line] = []
        for place, notice in enumerate(notices):
            room = height - len(lines)
            if room <= 0:
                break
            others = len(notices) - place - 1
            texts = wrapped(notice.signed, width - 2)
            graver = notice.level != "quiet"
            if len(texts) > room or (others and len(texts) == room):
                # no row is left after this notice: the count of the others goes on its last row
                count = f" +{others}" if others and graver else ""
                head = texts[: room - 1]
                rest = " ".join(texts[room - 1 :])
                space = width - 2 - len(count)
                cut = rest if len(rest) <= space else rest[: space - 2].rstrip() + ".."
                texts = [*head, cut.ljust(space) + count]
            style = f"notice--{notice.level}"
            lines += [[(f" {text}".ljust(width), style)] for text in texts]
        return lines
