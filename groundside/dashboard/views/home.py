"""The way home: how far, which way, what is left then, and whether it is time to turn back."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Container

from groundside.connection.commands import setting
from groundside.dashboard.faces.home import HomeFace, home_face
from groundside.dashboard.rows import home_rows
from groundside.dashboard.scene import Scene
from groundside.dashboard.views.asking import AGAIN_S, Asking
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.cue import Cue
from groundside.dashboard.widgets.hero import Hero
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
        self._asking = Asking(clock)
        self._can_talk = False
        self._has_cue = False
        self._face = HomeFace()
        self._cue = Cue(id="home-cue")
        self._distance = Hero(id="home-distance")
        self._margin = Hero(id="home-margin")
        self._heroes = Container(self._distance, self._margin, id="home-heroes")
        self._way = WayPage(id="home-way")

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield self._cue
        yield self._heroes
        yield self._way

    def on_resize(self, _event: events.Resize) -> None:
        """Share the rows out anew."""
        self._share()

    def on_hide(self, _event: events.Hide) -> None:
        """Ask nothing any more: coming back later it would surprise."""
        self._asking.drop()

    def show(self, scene: Scene) -> None:
        """Hand each part what it says now."""
        self._can_talk = scene.can_talk
        self._face = home_face(scene)
        has_cue = bool(self._face.cue.word)
        if has_cue != self._has_cue:
            self._has_cue = has_cue
            self._share()
        self._cue.shown = self._face.cue
        self._distance.shown = self._face.distance
        self._margin.shown = self._face.margin
        self._paint()

    def _paint(self) -> None:
        self._way.shown = (self._face, QUESTION if self._asking.open else "")

    def buttons(self) -> tuple[Button, ...]:
        """Return the one that sets home, where a daemon takes it."""
        if not self._can_talk:
            return ()
        asked = self._asking.open == "home"
        return (Button("sure?" if asked else "home here", f"{HERE}home", "o", asked),)

    def pressed(self, word: str) -> None:
        """Set home at the second press."""
        if word == "home" and self._can_talk and self._asking.is_yes("home"):
            self.post_message(self.Say(setting("home", "here"), "home is here now"))
        self._paint()

    def _share(self) -> None:
        width, height = self.size.width, self.size.height
        if not width or not height:
            return
        rows = home_rows(width, height, cue=self._has_cue)
        for part, high in (
            (self._cue, rows.cue),
            (self._heroes, rows.heroes),
            (self._way, rows.way),
        ):
            part.display = high > 0
            part.styles.height = high
        self._heroes.styles.layout = "horizontal" if rows.side_by_side else "vertical"
        for hero in (self._distance, self._margin):
            hero.styles.height = rows.hero
            hero.set_label_above(rows.side_by_side)
        self._margin.display = rows.margin
