"""The way home: how far, which way, what is left then, and whether it is time to turn back."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Container

from groundside.connection.say import setting
from groundside.dashboard.content.home import HomeContent, home_content
from groundside.dashboard.layout import home_rows
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.views.confirmation import AGAIN_S, Confirmation
from groundside.dashboard.widgets.big_figure import BigFigure
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.cue_bar import Cue
from groundside.dashboard.widgets.way_page import WayPage

QUESTION = f"Home is to be where you are now: press again within {AGAIN_S:g} s."


class HomeView(View):
    """Distance and margin in big type, the sign to turn back, and the way in words.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    """

    NAME: ClassVar[str] = "home"

    def __init__(self, clock: Callable[[], float]) -> None:
        super().__init__(id=self.NAME)
        self._confirmation = Confirmation(clock)
        self._can_talk = False
        self._has_cue = False
        self._content = HomeContent()
        self._cue = Cue(id="home-cue")
        self._distance = BigFigure(id="home-distance")
        self._margin = BigFigure(id="home-margin")
        self._big_figures = Container(self._distance, self._margin, id="home-big-figures")
        self._way = WayPage(id="home-way")

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield self._cue
        yield self._big_figures
        yield self._way

    def on_resize(self, _event: events.Resize) -> None:
        """Share the rows out anew."""
        self._share()

    def on_hide(self, _event: events.Hide) -> None:
        """Ask nothing any more: coming back later it would surprise."""
        self._confirmation.drop()

    def show(self, state: ViewState) -> None:
        """Hand each part what it says now."""
        self._can_talk = state.can_talk
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
        self._way.content = (self._content, QUESTION if self._confirmation.open else "")

    def buttons(self) -> tuple[Button, ...]:
        """Return the one that sets home, where a daemon takes it."""
        if not self._can_talk:
            return ()
        asked = self._confirmation.open == "home"
        return (Button("sure?" if asked else "home here", f"{HERE}home", "o", asked),)

    def pressed(self, word: str) -> None:
        """Set home at the second press."""
        if word == "home" and self._can_talk and self._confirmation.confirmed("home"):
            self.post_message(self.Send(setting("home", "here"), "home is here now"))
        self._paint()

    def _share(self) -> None:
        width, height = self.size.width, self.size.height
        if not width or not height:
            return
        rows = home_rows(width, height, cue=self._has_cue)
        for part, high in (
            (self._cue, rows.cue),
            (self._big_figures, rows.big_figures),
            (self._way, rows.way),
        ):
            part.display = high > 0
            part.styles.height = high
        self._big_figures.styles.layout = "horizontal" if rows.side_by_side else "vertical"
        for hero in (self._distance, self._margin):
            hero.styles.height = rows.hero
            hero.set_label_above(rows.side_by_side)
        self._margin.display = rows.margin
