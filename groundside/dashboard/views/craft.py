"""The craft view: instruments and link, so that a rider knows which figures to trust."""

from typing import ClassVar

from textual.app import ComposeResult

from groundside.dashboard.faces.craft import craft_blocks
from groundside.dashboard.pace import Pace
from groundside.dashboard.scene import Scene
from groundside.dashboard.views.view import HERE, View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.text_page import TextPage


class CraftView(View):
    """Lists the instruments, the worst first."""

    NAME: ClassVar[str] = "craft"

    def __init__(self) -> None:
        super().__init__(id=self.NAME)
        self._page = TextPage(id="craft-text")
        self._pace = Pace()

    def compose(self) -> ComposeResult:
        """Make the page."""
        yield self._page

    def show(self, scene: Scene) -> None:
        """Show what is so now, once a second: nobody reads a page faster."""
        if self._pace.due(scene.now_s, (scene.stale, scene.units)):
            self._page.shown = craft_blocks(scene)

    def buttons(self) -> tuple[Button, ...]:
        """Give the next page where there is one."""
        return (Button("next page", f"{HERE}turn", "n"),) if self._page.pages > 1 else ()

    def pressed(self, word: str) -> None:
        """Turn the page."""
        if word == "turn":
            self._page.turn()
