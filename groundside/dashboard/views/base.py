"""What all views have in common."""

from typing import ClassVar

from textual.containers import Container
from textual.message import Message

from groundside.dashboard.scene import Scene
from groundside.dashboard.widgets.button_bar import Button
from onboard.contract.commands import Command

HERE = "here."
"""Before an action that the view in sight does itself."""


class View(Container):
    """A view: fills the room between the notices and the buttons, and never scrolls.

    Subclasses name themselves and show a scene when they are told; only the view in sight is told,
    five times a second. They hand texts to painted widgets, which paint what changed.
    """

    NAME: ClassVar[str] = ""
    """Its id, and the word on its tab: at most five letters."""

    class Say(Message):
        """Something is to be said to the daemon.

        Parameters
        ----------
        command
            As made by `groundside.connection.commands`.
        done
            What the rider reads once it was done.
        """

        def __init__(self, command: Command, done: str) -> None:
            super().__init__()
            self.command = command
            self.done = done

    class GoTo(Message):
        """The rider wants to go to a place of a saved ride: a share of its time, or a distance."""

        def __init__(
            self, *, fraction: float | None = None, distance_m: float | None = None
        ) -> None:
            super().__init__()
            self.fraction = fraction
            self.distance_m = distance_m

    def show(self, scene: Scene) -> None:
        """Show what is so now; must be cheap where nothing changed."""
        raise NotImplementedError

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons that this view wants beneath itself now; they may change.

        An action that begins with `HERE` comes back as `pressed`; any other is the app's.
        """
        return ()

    def unseen_buttons(self) -> tuple[Button, ...]:
        """Return buttons that there is no room for: their keys count all the same."""
        return ()

    def pressed(self, word: str) -> None:
        """Do what a button of this view says; `word` is its action without `HERE`."""
