"""The curve view: power or consumption against speed, with the rider's place on it."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult

from groundside.dashboard.content.curve import curve_content
from groundside.dashboard.layout import SIDE_BY_SIDE_COLUMNS
from groundside.dashboard.redraw_interval import RedrawInterval
from groundside.dashboard.view_state import ViewState
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
        self._state: ViewState | None = None
        self._redraw = RedrawInterval()
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
        self._redraw.hurry()

    def show(self, state: ViewState) -> None:
        """Draw what is so now, once a second at most."""
        self._state = state
        if self._redraw.due(state.now_s, (state.stale, state.units, self._of_consumption)):
            content = curve_content(state, of_consumption=self._of_consumption)
            self._plot.content = content.plot
            self._page.content = content.blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return the choice between power and consumption."""
        cost = self._state.units.consumption_name if self._state else "Wh/km"
        return (
            Button("power", f"{HERE}power", "p", not self._of_consumption),
            Button(cost, f"{HERE}cost", "c", self._of_consumption),
        )

    def pressed(self, word: str) -> None:
        """Choose what is drawn."""
        self._of_consumption = word == "cost"
        if self._state is not None:
            self.show(self._state)
