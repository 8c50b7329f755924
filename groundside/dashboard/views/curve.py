"""The curve view: power or consumption against speed, with the rider's place on it."""

from collections.abc import Callable
from typing import ClassVar

from textual import events

from groundside.dashboard.content.curve import curve_content
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.layout import SIDE_BY_SIDE_COLUMNS
from groundside.dashboard.redraw_interval import RedrawInterval
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.plot import Plot
from groundside.dashboard.widgets.text_page import TextPage

TEXT_ROWS, NARROW_TEXT_ROWS = 3, 6
PLOT_ROWS_LEAST = 8


class CurveView(View):
    """A plot, and the same in words below it."""

    NAME: ClassVar[str] = "curve"
    PURPOSE: ClassVar[str] = "power against speed"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (
        ViewKey("p", "power", ("power",)),
        ViewKey("c", "consumption", ("cost",)),
    )

    def __init__(self, clock: Callable[[], float]) -> None:
        self._plot = Plot(id="curve-plot")
        self._page = TextPage(id="curve-text", one_page=True)
        super().__init__(clock, self._plot, self._page)
        self._of_consumption = False
        self._redraw = RedrawInterval()

    def on_resize(self, _event: events.Resize) -> None:
        """Give the text its rows, and the plot the rest."""
        height = self.size.height
        wanted = TEXT_ROWS if self.size.width >= SIDE_BY_SIDE_COLUMNS else NARROW_TEXT_ROWS
        rows = min(wanted, max(0, height - PLOT_ROWS_LEAST))
        self._plot.styles.height = height - rows
        self._page.display = rows > 0
        self._page.styles.height = rows
        self._redraw.reset()

    def show(self, state: ViewState) -> None:
        """Draw the curve, once a second at most."""
        self._state = state
        if self._redraw.due(state.now_s, (state.stale, state.units, self._of_consumption)):
            content = curve_content(state, of_consumption=self._of_consumption)
            self._plot.content = content.plot
            self._page.content = content.blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return the choice between power and consumption."""
        cost = self._state.units.consumption_name if self._state else "Wh/km"
        return (
            self.own_button("power", "power", on=not self._of_consumption),
            self.own_button(cost, "cost", on=self._of_consumption),
        )

    def pressed(self, word: str) -> None:
        """Choose power or consumption."""
        self._of_consumption = word == "cost"
        if self._state is not None:
            self.show(self._state)
