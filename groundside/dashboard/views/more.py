"""The more view: every key, the signs, the cautions; and the buttons that hold for all views."""

from typing import ClassVar

from textual.app import ComposeResult

from groundside.dashboard.content.items import Block, Item
from groundside.dashboard.keys import OWN_KEYS
from groundside.dashboard.notices import CAUTION
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.text_page import TextPage

SIGNS: Block = (
    Item("--", "not known; the reason stands beside it"),
    Item("STALE", "hatched: figures of a while ago"),
    Item("a to b", "95 % interval"),
)
CAUTIONS: Block = (
    Item("", CAUTION),
    Item("", "This tool advises only; it never steers."),
    Item("", "Heed the local rules. Tell somebody ashore where you go and when you are back."),
    Item("", "Cold water, turning propellers and damaged packs harm."),
)


class MoreView(View):
    """Lists keys, signs and cautions.

    Parameters
    ----------
    keys
        Every key with what it does.
    """

    NAME: ClassVar[str] = "more"

    def __init__(self, keys: tuple[tuple[str, str], ...]) -> None:
        super().__init__(id=self.NAME)
        self._page = TextPage(id="more-text")
        own = (
            (Item("", f"in {name}", strong=True), *(Item(key, what) for key, what in table))
            for name, table in OWN_KEYS.items()
        )
        self._blocks = (
            tuple(Item(key, meaning) for key, meaning in keys),
            SIGNS,
            CAUTIONS,
            *own,
        )

    def compose(self) -> ComposeResult:
        """Make the page."""
        yield self._page

    def show(self, state: ViewState) -> None:
        """Show the same at all times."""
        del state
        self._page.content = self._blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return what concerns all views, and the next page where there is one."""
        next_page = (Button("next page", f"{HERE}turn", "n"),) if self._page.pages > 1 else ()
        return (
            *next_page,
            Button("units", "units", "u"),
            Button("theme", "theme", "t"),
            Button("leave", "quit", "q"),
        )

    def pressed(self, word: str) -> None:
        """Turn the page."""
        if word == "turn":
            self._page.turn()
