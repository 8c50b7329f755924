"""The caution shown above the figures until the rider has read it."""

from typing import ClassVar

from textual import events
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.drawing.painted import Line, Painted, wrapped
from groundside.dashboard.notices import CAUTION

ANSWER, TOUCH_ANSWER = "[enter = read]", "[tap = read]"


class CautionBar(Painted):
    """Shows the caution; a click or its key confirms that it was read."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {"caution--text"}

    class Read(Message):
        """The rider has read the caution."""

    def __init__(self, *, id: str | None = None, touch: bool = False) -> None:
        super().__init__(id=id)
        self._text = f"{CAUTION} {TOUCH_ANSWER if touch else ANSWER}"

    def rows_needed(self, width: int) -> int:
        """Return the number of rows that the caution takes at a width."""
        return len(wrapped(self._text, width - 2))

    def paint(self, size: Size) -> list[Line]:
        """Wrap the caution into the rows available."""
        width = size.width
        texts = wrapped(self._text, width - 2)
        return [[(f" {text}".ljust(width), "caution--text")] for text in texts]

    def on_click(self, event: events.Click) -> None:
        """Take a click anywhere as the confirmation."""
        event.stop()
        self.post_message(self.Read())
