"""The home view: distance and direction home, energy left there, and when to turn back."""

from collections.abc import Callable
from typing import ClassVar

from textual import events

from groundside.connection.commands import setting
from groundside.dashboard.content.home import HomeContent, home_content
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.layout.home_rows import home_rows
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View, set_heights
from groundside.dashboard.views.confirmation import AGAIN_S
from groundside.dashboard.widgets.big_figure import BigFigure, BigFigures
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.cue_bar import CueBar
from groundside.dashboard.widgets.way_page import WayPage

QUESTION = f"Set home where you are now? Press again within {AGAIN_S:g} s."


class HomeView(View):
    """Distance and margin in big type, the cue to turn back, and the way in words."""

    NAME: ClassVar[str] = "home"
    PURPOSE: ClassVar[str] = "the way home"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (ViewKey("o", "set home here: press twice", ("home",)),)

    def __init__(self, clock: Callable[[], float]) -> None:
        self._cue = CueBar(id="home-cue")
        self._distance = BigFigure(id="home-distance")
        self._margin = BigFigure(id="home-margin")
        self._big_figures = BigFigures(self._distance, self._margin, id="home-big-figures")
        self._way = WayPage(id="home-way")
        super().__init__(clock, self._cue, self._big_figures, self._way)
        self._can_command = False
        self._has_cue = False
        self._content = HomeContent()

    def on_resize(self, _event: events.Resize) -> None:
        """Allot the rows again."""
        self._share()

    def show(self, state: ViewState) -> None:
        """Pass each part its content."""
        self._can_command = state.can_command
        self._content = home_content(state)
        has_cue = bool(self._content.cue.word)
        if has_cue != self._has_cue:
            self._has_cue = has_cue
            self._share()
        self._cue.content = self._content.cue
        self._distance.content = self._content.distance
        self._margin.content = self._content.margin
        self._paint()

    def _paint(self) -> None:
        self._way.content = (self._content, QUESTION if self._confirmation.pending else "")

    def buttons(self) -> tuple[Button, ...]:
        """Return the button that sets home, if there is a daemon to command."""
        if not self._can_command:
            return ()
        asked = self._confirmation.pending == "home"
        return (self.own_button("sure?" if asked else "home here", "home", on=asked),)

    def pressed(self, word: str) -> None:
        """Set home on a second press."""
        if word == "home" and self._can_command and self._confirmation.confirmed("home"):
            self.post_message(self.Send(setting("home", "here"), "home set here"))
        self._paint()

    def _share(self) -> None:
        width, height = self.size.width, self.size.height
        if not width or not height:
            return
        rows = home_rows(width, height, cue=self._has_cue)
        set_heights(
            (self._cue, rows.cue), (self._big_figures, rows.big_figures), (self._way, rows.way)
        )
        self._big_figures.set_rows(
            rows.figure, side_by_side=rows.side_by_side, label_above=rows.side_by_side
        )
        self._margin.display = rows.margin
