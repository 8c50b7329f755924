"""An input line for names, numbers and notes: while it is open, every letter is text."""

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widgets import Input


class TypedLine(Input):
    """An input line, hidden until it is opened; escape cancels it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", show=False)]

    class Left(Message):
        """Typing was cancelled."""

    def __init__(self) -> None:
        # Letters that were typed before the line had the focus must not be selected.
        super().__init__(compact=True, select_on_focus=False)

    def on_mount(self) -> None:
        """Hide it at first."""
        self.display = False

    def open(self, most: int, text: str = "") -> None:
        """Show it with some text, and let it have the keys.

        Parameters
        ----------
        most
            Largest number of characters.
        text
            What has been typed so far.
        """
        self.value, self.max_length = text, most
        self.cursor_position = len(text)
        self.display = True
        self.screen.set_focus(self)

    def close(self) -> None:
        """Hide it."""
        self.display = False
        if self.is_attached and self.has_focus:
            self.screen.set_focus(None)

    def add(self, text: str) -> None:
        """Insert text that came before the line had the focus."""
        self.insert_text_at_cursor(text)

    def action_leave(self) -> None:
        """Cancel without sending."""
        self.post_message(self.Left())
