"""What the runs view asks the rider. While a question is open it has the keys.

A question may open the view's input line; then every letter is text (`TypedLine`).
"""

from typing import Protocol

from groundside.connection.commands import mark
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.typed_line import TypedLine
from onboard.contract.codec import clean
from onboard.contract.commands import TEXT_MOST, Command


class Asking(Protocol):
    """The view that asks."""

    line: TypedLine

    @property
    def shown(self) -> ViewState:
        """The state that is shown."""

    def own_button(self, label: str, word: str, *, on: bool = False, short: str = "") -> Button:
        """Return a button for an action of the view; see `View.own_button`."""

    def order(self, command: Command, done: str) -> None:
        """Send a command to the daemon."""

    def answered(self) -> None:
        """Close the question."""


class Question:
    """A question to the rider, closed by an answer or by leaving.

    Parameters
    ----------
    view
        The view that asks.
    """

    def __init__(self, view: Asking) -> None:
        self.view = view

    @property
    def ask(self) -> str:
        """The question in words."""
        raise NotImplementedError

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """Answers to choose from, each with its description; none if it is typed."""
        return ()

    chosen = 0
    """Index of the selected one."""

    @property
    def figure(self) -> tuple[str, str]:
        """The number that its buttons change, and its unit; empty for none."""
        return "", ""

    def buttons(self) -> tuple[Button, ...]:
        """Return its buttons."""
        return (self.view.own_button("send", "send"), self.back)

    def hidden_buttons(self) -> tuple[Button, ...]:
        """Return those that have only a key."""
        return ()

    @property
    def back(self) -> Button:
        """The button that leaves."""
        return self.view.own_button("back", "leave")

    def takes_text(self, text: str) -> bool:
        """Take letters as text; return whether they were taken."""
        if self.view.line.display:
            self.view.line.add(text)
        return self.view.line.display

    def pressed(self, word: str) -> None:
        """Carry out an action of the view."""
        if word == "send":
            self.submit()

    def submit(self) -> None:
        """Take what was typed."""

    def undone(self) -> bool:
        """Undo the last answer; return whether there was one, else leave."""
        return False


class NoteQuestion(Question):
    """Asks for a note."""

    def __init__(self, view: Asking) -> None:
        super().__init__(view)
        view.line.open(TEXT_MOST)

    @property
    def ask(self) -> str:
        """The question in words."""
        return "A note of this moment: type it, then enter. Escape leaves."

    def submit(self) -> None:
        """Send the note, unless it is empty."""
        note = clean(self.view.line.value)
        self.view.answered()
        if note:
            self.view.order(mark("note", note), "note kept")
