"""The base of all views."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.containers import Container
from textual.message import Message
from textual.widget import Widget

from groundside.dashboard.drawing.kept import Kept
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.confirmation import Confirmation
from groundside.dashboard.widgets.button_bar import Button
from onboard.contract.commands import Command
from onboard.dataclass import dataclass

OWN = "own."
"""Prefix of an action that the visible view carries out itself."""


def set_heights(*parts: tuple[Widget, int]) -> None:
    """Set the height of each part in rows; hide parts without rows."""
    for part, rows in parts:
        part.display = rows > 0
        part.styles.height = rows


class View(Container, Kept):
    """A view: fills the room between the notices and the buttons, and never scrolls.

    A subclass shows a state in `show`, called five times a second for the visible view only; it
    passes content to painted widgets, which paint what changed.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    parts
        The widgets it is made of, from top to bottom.
    """

    NAME: ClassVar[str] = ""
    """Its id, and the word on its tab: at most five letters."""
    PURPOSE: ClassVar[str] = ""
    """Its purpose, in a few words for the help view."""
    KEYS: ClassVar[tuple[ViewKey, ...]] = ()
    """Its own keys, in the order of the help view."""

    @dataclass
    class Send(Message):
        """A command for the daemon.

        Parameters
        ----------
        command
            A command made by `groundside.connection.commands.setting` or `mark`.
        done
            Text shown once it has been carried out.
        """

        command: Command
        done: str

    @dataclass(kw_only=True)
    class Seek(Message):
        """A request to seek in a saved ride: to a share of its time, or to a distance."""

        fraction: float | None = None
        distance_m: float | None = None

    def __init__(self, clock: Callable[[], float], *parts: Widget) -> None:
        super().__init__(*parts, id=self.NAME)
        self._confirmation = Confirmation(clock)
        self._state: ViewState | None = None

    def on_hide(self, _event: events.Hide) -> None:
        """Drop an open question, whose answer would surprise on coming back later."""
        self._confirmation.cancel()

    def show(self, state: ViewState) -> None:
        """Show a state; must be cheap if nothing has changed."""
        raise NotImplementedError

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons to show below this view now; they may change.

        An action that begins with `OWN` calls `pressed`; any other is the app's.
        """
        return ()

    @property
    def has_time_bar(self) -> bool:
        """Whether the view shows a replay's time bar itself, under its own plot."""
        return False

    def hidden_buttons(self) -> tuple[Button, ...]:
        """Return buttons that are not shown for lack of room; their keys work all the same."""
        return ()

    def takes_text(self, _text: str) -> bool:
        """Take a typed character as text, if the rider is typing; return whether it was taken.

        A text field that has the focus takes its keys itself: this is for those that come before,
        or that open the field.
        """
        return False

    def pressed(self, word: str) -> None:
        """Carry out an action of this view; `word` is the action without the prefix `OWN`."""

    def own_button(self, label: str, word: str, *, on: bool = False, short: str = "") -> Button:
        """Return a button for an action of this view, with its key from `KEYS`."""
        key = next((key.key for key in self.KEYS if word in key.words), "")
        return Button(label, OWN + word, key, on, short)
