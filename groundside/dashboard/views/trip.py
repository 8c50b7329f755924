"""The trip view: power, speed, consumption and energy left, over time or distance."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.containers import Container

from groundside.dashboard.content.trip import PANELS, trip_content
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.layout import SIDE_BY_SIDE_COLUMNS
from groundside.dashboard.redraw_interval import RedrawInterval
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View
from groundside.dashboard.views.seeking import seek_to
from groundside.dashboard.views.trip_choice import KEYS, TripChoice
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.plot import Plot
from groundside.dashboard.widgets.text_page import TextPage

ROWS_FOR_FOUR = 20
TEXT_ROWS = 2


class TripView(View):
    """One panel on a phone, two or four where there is room, and the sums in words."""

    NAME: ClassVar[str] = "trip"
    PURPOSE: ClassVar[str] = "where the energy went"
    KEYS: ClassVar[tuple[ViewKey, ...]] = KEYS

    def __init__(self, clock: Callable[[], float]) -> None:
        self._plots = [Plot(id=f"trip-plot{n}") for n in range(len(PANELS))]
        self._pairs = [
            Container(*self._plots[:2], id="trip-upper"),
            Container(*self._plots[2:], id="trip-lower"),
        ]
        self._page = TextPage(id="trip-text", one_page=True)
        super().__init__(clock, *self._pairs, self._page)
        self._choice = TripChoice()
        self._redraw = RedrawInterval()

    def on_resize(self, _event: events.Resize) -> None:
        """Show as many panels as there is room for."""
        self._page.styles.height = TEXT_ROWS if self.size.width < SIDE_BY_SIDE_COLUMNS else 1
        count = len(self._panels())
        for place, plot in enumerate(self._plots):
            plot.display = place < count
        self._pairs[1].display = count > 2
        self._redraw.reset()

    def _panels(self) -> tuple[str, ...]:
        """Return the visible panels, the chosen one first unless all are visible."""
        if self.size.width < SIDE_BY_SIDE_COLUMNS:
            return (self._choice.panel,)
        if self.size.height >= ROWS_FOR_FOUR:
            return PANELS
        after = PANELS[(PANELS.index(self._choice.panel) + 1) % len(PANELS)]
        return self._choice.panel, after

    def show(self, state: ViewState) -> None:
        """Draw the trip, once a second at most."""
        self._state = state
        panels = self._panels()
        key = (state.stale, state.units, panels, self._choice.over_distance)
        if not self._redraw.due(state.now_s, key):
            return
        content = trip_content(
            state, panels, over_distance=self._choice.over_distance, bar=len(panels) == 1
        )
        for plot, drawn in zip(self._plots, content.plots, strict=False):
            plot.content = drawn
        self._page.content = content.blocks

    @property
    def has_time_bar(self) -> bool:
        """Whether the view shows a replay's time bar itself."""
        return self._plots[0].content is not None and self._plots[0].content.bar is not None

    def buttons(self) -> tuple[Button, ...]:
        """Return the choice of panels, unless all are visible, and that of the axis."""
        units = self._state.units if self._state else None
        return self._choice.buttons(self.own_button, units, self._panels())

    def pressed(self, word: str) -> None:
        """Choose a panel or the axis."""
        self._choice.pressed(word)
        if self._state is not None:
            self.show(self._state)

    def on_plot_tapped(self, message: Plot.Tapped) -> None:
        """Go to the tapped place of a saved ride."""
        message.stop()
        request = seek_to(self._state, message.x, over_distance=self._choice.over_distance)
        if request is not None:
            self.post_message(request)
