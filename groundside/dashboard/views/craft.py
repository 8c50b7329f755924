"""The craft view: instruments and link, so that a rider knows which figures to trust."""

from collections.abc import Callable
from typing import ClassVar

from groundside.connection.commands import mark
from groundside.dashboard.content.craft import craft_blocks, silent_source
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.redraw_interval import RedrawInterval
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.text_page import TextPage


class CraftView(View):
    """Lists the instruments, worst first; a silent pack can be marked as unplugged."""

    NAME: ClassVar[str] = "craft"
    PURPOSE: ClassVar[str] = "instruments and link"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (
        ViewKey("n", "next page", ("turn",)),
        ViewKey("p", "a silent pack is unplugged: press twice", ("unplugged",)),
    )

    def __init__(self, clock: Callable[[], float]) -> None:
        self._page = TextPage(id="craft-text")
        super().__init__(clock, self._page)
        self._silent = ""
        self._redraw = RedrawInterval()

    def show(self, state: ViewState) -> None:
        """Show the instruments, once a second, as nobody reads a page faster."""
        self._silent = silent_source(state.snapshot) if state.can_command else ""
        if self._redraw.due(state.now_s, (state.stale, state.units)):
            self._page.content = craft_blocks(state)

    def buttons(self) -> tuple[Button, ...]:
        """Return the next page, if there is one, and the mark for a silent pack."""
        turn = (self.own_button("next page", "turn"),) if self._page.pages > 1 else ()
        if not self._silent:
            return turn
        asked = self._confirmation.pending == self._silent
        label = "sure?" if asked else f"{self._silent} unplugged"
        return (*turn, self.own_button(label, "unplugged", on=asked, short="unplug"))

    def pressed(self, word: str) -> None:
        """Turn the page; on a second press, mark a pack as unplugged."""
        if word == "turn":
            self._page.turn()
        elif word == "unplugged" and self._silent and self._confirmation.confirmed(self._silent):
            command = mark("unplugged", source=self._silent)
            self.post_message(self.Send(command, f"{self._silent} is unplugged"))
