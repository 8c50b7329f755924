"""The notices above every view."""

from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted, wrapped
from groundside.dashboard.layout.frame_rows import ROWS_ABOVE, TALL_ROWS
from groundside.dashboard.notices import Notice

TWO_FROM_ROWS = 24
"""Height of the terminal from which there is room for two notices [rows]."""
MOST_ROWS_TALL = 5
"""Most rows of notices where there is room, from `TALL_ROWS` up."""


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
        """Return the rows needed to show the worst notice whole, as it ends in the advice.

        Parameters
        ----------
        notices
            All of them, worst first.
        screen
            Size of the terminal.
        """
        most = ROWS_ABOVE if screen.height < TALL_ROWS else MOST_ROWS_TALL
        graver = [notice for notice in notices if notice.level in ("danger", "warning")]
        whole = graver[: 2 if screen.height >= TWO_FROM_ROWS else 1]
        rows = 0
        for place, notice in enumerate(whole):
            others = len(notices) - place - 1 if place == len(whole) - 1 else 0
            rows += len(_texts(notice, screen.width, 99, others))
        return max(1, min(most, rows))

    def paint(self, size: Size) -> list[Line]:
        """Fill the rows, worst first; a longer text takes more rows."""
        notices: tuple[Notice, ...] = self.content
        lines: list[Line] = []
        for place, notice in enumerate(notices):
            room = size.height - len(lines)
            if room <= 0:
                break
            others = len(notices) - place - 1
            texts = _texts(notice, size.width, room)
            if others and len(texts) >= room:  # no row is left for the others: count them
                texts = _texts(notice, size.width, room, others)
            style = f"notice--{notice.level}"
            lines += [[(f" {text}".ljust(size.width), style)] for text in texts]
        return lines


def _texts(notice: Notice, width: int, room: int, others: int = 0) -> list[str]:
    """Return the lines of a notice, with the number of others at the end of one that has room.

    The words come first: rather than lose a word of the advice, the number is left out.
    """
    count = f" +{others}" if others and notice.level != "quiet" else ""
    space = width - 2
    texts = wrapped(notice.signed, space)
    if not any(len(text) + len(count) <= space for text in texts[:room]):
        narrower = wrapped(notice.signed, space - len(count))
        texts = narrower if len(narrower) <= room else texts
    if len(texts) > room:
        rest = " ".join(texts[room - 1 :])
        texts = [*texts[: room - 1], f"{rest[: space - 2].rstrip()}.."]
    for place in reversed(range(len(texts))):
        if count and len(texts[place]) + len(count) <= space:
            texts[place] = texts[place].ljust(space - len(count)) + count
            break
    return texts
