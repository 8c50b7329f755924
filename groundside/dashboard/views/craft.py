"""The craft view: instruments and link, so that a rider knows which figures to trust."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.app import ComposeResult

from groundside.connection.commands import mark
from groundside.dashboard.faces.craft import craft_blocks, silent_source
from groundside.dashboard.pace import Pace
from groundside.dashboard.scene import Scene
from groundside.dashboard.views.asking import Asking
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.text_page import TextPage


class CraftView(View):
    """Lists the instruments, the worst first; a silent pack can be marked as unplugged.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    """

    NAME: ClassVar[str] = "craft"

    def __init__(self, clock: Callable[[], float]) -> None:
        super().__init__(id=self.NAME)
        self._asking = Asking(clock)
        self._silent = ""
        self._page = TextPage(id="craft-text")
        self._pace = Pace()

    def compose(self) -> ComposeResult:
        """Make the page."""
        yield self._page

    def on_hide(self, _event: events.Hide) -> None:
        """Ask nothing any more: coming back later it would surprise."""
        self._asking.drop()

    def show(self, scene: Scene) -> None:
        """Show what is so now, once a second: nobody reads a page faster."""
        self._silent = silent_source(scene.snapshot) if scene.can_talk else ""
        if self._pace.due(scene.now_s, (scene.stale, scene.units)):
            self._page.shown = craft_blocks(scene)

    def buttons(self) -> tuple[Button, ...]:
        """Return the next page where there is one, and what can be said of a silent pack."""
        turn = (Button("next page", f"{HERE}turn", "n"),) if self._page.pages > 1 else ()
        if not self._silent:
            return turn
        asked = self._asking.open == self._silent
        label = "sure?" if asked else f"{self._silent} unplugged"
        return (*turn, Button(label, f"{HERE}unplugged", "p", asked, short="unplug"))

    def pressed(self, word: str) -> None:
        """Turn the page; mark a pack as unplugged at the second press."""
        if word == "turn":
            self._page.turn()
        elif word == "unplugged" and self._silent and self._asking.is_yes(self._silent):
            command = mark("unplugged", source=self._silent)
            self.post_message(self.Say(command, f"{self._silent} is unplugged"))
