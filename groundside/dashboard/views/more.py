"""The more view: all keys, signs and cautions, and the buttons common to all views."""

from collections.abc import Callable, Mapping
from typing import ClassVar

from groundside.dashboard.content.items import Block, Item
from groundside.dashboard.keys import Key, ViewKey
from groundside.dashboard.notices import CAUTION
from groundside.dashboard.sounds import USUAL
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.text_page import TextPage

SIGNS: Block = (
    Item("--", "not known; the reason stands beside it"),
    Item("STALE", "hatched: figures out of date"),
    Item("a to b", "95 % interval"),
)
CAUTIONS: Block = (
    Item("", CAUTION),
    Item("", "This tool advises only; it never steers."),
    Item("", "Heed the local rules. Tell somebody ashore your plan and when to expect you."),
    Item("", "Cold water, propellers and damaged packs are dangerous."),
)


class MoreView(View):
    """Lists keys, signs and cautions.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    keys
        The app's keys.
    own
        The keys of each view, by its name.
    """

    NAME: ClassVar[str] = "more"
    PURPOSE: ClassVar[str] = "keys, signs, cautions"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (ViewKey("n", "next page", ("turn",)),)

    def __init__(
        self,
        clock: Callable[[], float],
        keys: tuple[Key, ...],
        own: Mapping[str, tuple[ViewKey, ...]],
    ) -> None:
        self._page = TextPage(id="more-text")
        super().__init__(clock, self._page)
        self._blocks = (
            tuple(Item(key.label, key.meaning) for key in keys),
            SIGNS,
            CAUTIONS,
            *(
                (
                    Item("", f"in {name}", strong=True),
                    *(Item(key.key, key.meaning) for key in table),
                )
                for name, table in own.items()
            ),
        )

    def show(self, state: ViewState) -> None:
        """Show the page, which never changes."""
        self._state = state
        self._page.content = self._blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return the next page, if there is one, and the buttons common to all views."""
        next_page = (
            (self.own_button("next page", "turn", short="next"),) if self._page.pages > 1 else ()
        )
        sounds = self._state.sounds if self._state else USUAL
        return (
            *next_page,
            Button("units", "units", "u"),
            Button("theme", "theme", "t"),
            Button(f"sounds: {sounds}", "sounds", "a", short="sound"),
            Button("leave", "quit", "q"),
        )

    def pressed(self, word: str) -> None:
        """Turn the page."""
        if word == "turn":
            self._page.turn()
