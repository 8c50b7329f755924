"""The curve view: power or consumption against speed, with the rider's place on it."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult

from groundside.dashboard.faces.curve import curve_face
from groundside.dashboard.pace import Pace
from groundside.dashboard.rows import SIDE_BY_SIDE_COLUMNS
from groundside.dashboard.scene import Scene
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.plot import Plot
from groundside.dashboard.widgets.text_page import TextPage

TEXT_ROWS, NARROW_TEXT_ROWS = 3, 6
PLOT_ROWS_LEAST = 8


class CurveView(View):
    """A plot, and beneath it what it tells in words."""

    NAME: ClassVar[str] = "curve"

    def __init__(self) -> None:
        super().__init__(id=self.NAME)
        self._of_consumption = False
        self._scene: Scene | None = None
        self._pace = Pace()
        self._plot = Plot(id="curve-plot")
        self._page = TextPage(id="curve-text", one_page=True)

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield self._plot
        yield self._page

    def on_resize(self, _event: events.Resize) -> None:
        """Return the words their rows, and the plot the rest."""
        height = self.size.height
        wanted = TEXT_ROWS if self.size.width >= SIDE_BY_SIDE_COLUMNS else NARROW_TEXT_ROWS
        rows = min(wanted, max(0, height - PLOT_ROWS_LEAST))
        self._plot.styles.height = height - rows
        self._page.display = rows > 0
        self._page.styles.height = rows
        self._pace.hurry()

    def show(self, scene: Scene) -> None:
        """Draw what is so now, once a second at most."""
        self._scene = scene
        if self._pace.due(scene.now_s, (scene.stale, scene.units, self._of_consumption)):
            face = curve_face(scene, of_consumption=self._of_consumption)
            self._plot.shown = face.plot
            self._page.shown = face.blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return the choice between power and consumption."""
        cost = self._scene.units.consumption_name if self._scene else "Wh/km"
        return (
            Button("power", f"{HERE}power", "p", not self._of_consumption),
            Button(cost, f"{HERE}cost", "c", self._of_consumption),
        )

    def pressed(self, word: str) -> None:
        """Choose what is drawn."""
        self._of_consumption = word == "cost"
        if self._scene is not None:
            self.show(self._scene)
