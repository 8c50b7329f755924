"""The base of all views."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.containers import Container
from textual.message import Message
from textual.widget import Widget

from groundside.dashboard.keys import ViewKey
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.confirmation import Confirmation
from groundside.dashboard.widgets.button_bar import Button
from onboard.contract.commands import Command

OWN = "own."
"""Prefix of an action that the view in sight carries out itself."""


def set_heights(*parts: tuple[Widget, int]) -> None:
    """Give each part its rows; one that has none is hidden."""
    for part, rows in parts:
        part.display = rows > 0
        part.styles.height = rows


class View(Container):
    """A view: fills the room between the notices and the buttons, and never scrolls.

    A subclass shows a state in `show`. Only the view in sight is given one, five times a second; it
    hands content to painted widgets, which paint what changed.

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
    """What it is for, in a few words for the help."""
    KEYS: ClassVar[tuple[ViewKey, ...]] = ()
    """Its own keys, in the order in which the help lists them."""

    @dataclass
    class Send(Message):
        """A command for the daemon.

        Parameters
        ----------
        command
            As `groundside.connection.commands.setting` and `mark` make it.
        done
            What the rider reads once it is carried out.
        """

        command: Command
        done: str

    @dataclass(kw_only=True)
    class Seek(Message):
        """A wish to go to a place of a saved ride: a share of its time, or a distance."""

        fraction: float | None = None
        distance_m: float | None = None

    def __init__(self, clock: Callable[[], float], *parts: Widget) -> None:
        super().__init__(*parts, id=self.NAME)
        self._confirmation = Confirmation(clock)
        self._state: ViewState | None = None

    def on_hide(self, _event: events.Hide) -> None:
        """Drop an open question: coming back later, its answer would surprise."""
        self._confirmation.cancel()

    def show(self, state: ViewState) -> None:
        """Show a state; must be cheap if nothing changed."""
        raise NotImplementedError

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons that this view wants beneath itself now; they may change.

        An action that begins with `OWN` comes back as `pressed`; any other is the app's.
        """
        return ()

    def hidden_buttons(self) -> tuple[Button, ...]:
        """Return buttons that there is no room for: their keys work all the same."""
        return ()

    def pressed(self, word: str) -> None:
        """Carry out an action of this view; `word` is the action without `OWN`."""

    def own_button(self, label: str, word: str, *, on: bool = False, short: str = "") -> Button:
        """Return a button for an action of this view, with the key that `KEYS` has for it."""
        key = next((key.key for key in self.KEYS if word in key.words), "")
        return Button(label, OWN + word, key, on, short)
