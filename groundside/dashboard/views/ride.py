"""The ride view: what a rider reads at a glance, with the whole ride beside it on a wide screen."""

from collections.abc import Callable
from typing import ClassVar

from textual import events

from groundside.dashboard.content.ride import ride_content
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.layout.wide_rows import wide_places
from groundside.dashboard.redraw_interval import RedrawInterval
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View
from groundside.dashboard.views.glance import Glance
from groundside.dashboard.views.overview import Overview
from groundside.dashboard.views.seeking import seek_to, seek_to_time
from groundside.dashboard.views.trip_choice import KEYS, TripChoice
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.plot import Plot
from groundside.dashboard.widgets.track_map import TrackMap

OVERVIEW_S = 2.0
"""Interval between two drawings of the overview [s]: a ride shows nothing new any sooner."""


class RideView(View):
    """The glance alone, or the wide screen: the glance beside the overview."""

    NAME: ClassVar[str] = "ride"
    PURPOSE: ClassVar[str] = "what to ride by"
    KEYS: ClassVar[tuple[ViewKey, ...]] = KEYS

    def __init__(self, clock: Callable[[], float]) -> None:
        self._glance = Glance()
        self._overview = Overview()
        self._overview.display = False
        super().__init__(clock, self._glance, self._overview)
        self._wide = False
        self._choice = TripChoice("cost")
        self._redraw = RedrawInterval(OVERVIEW_S)

    @property
    def has_time_bar(self) -> bool:
        """Whether the view shows a replay's time bar itself."""
        return self._wide and self._overview.shows_place

    def on_resize(self, _event: events.Resize) -> None:
        """Show the overview if there is room for it."""
        places = wide_places(self.size.width, self.size.height)
        self._wide = self._overview.display = places is not None
        self._glance.styles.width = "100%" if places is None else places.glance
        if places is not None:
            self._overview.set_places(places)
        self._redraw.reset()

    def show(self, state: ViewState) -> None:
        """Pass the parts their content."""
        self._state = state
        self._glance.show(ride_content(state))
        if self._wide and self._redraw.due(state.now_s, self._key(state)):
            self._overview.show(state, self._choice)

    def _key(self, state: ViewState) -> object:
        """Return what makes the overview redraw at once when it changes."""
        choice, replay = self._choice, state.replay
        second = None if replay is None else int(state.now_s)  # in a replay the cursor moves
        return state.started, state.stale, state.units, second, choice.panel, choice.over_distance

    def buttons(self) -> tuple[Button, ...]:
        """Return, on a wide screen, the buttons that choose the trip's plot."""
        if not self._wide:
            return ()
        units = None if self._state is None else self._state.units
        return self._choice.buttons(self.own_button, units, (self._choice.panel,))

    def pressed(self, word: str) -> None:
        """Choose what the trip's plot shows."""
        self._choice.pressed(word)
        if self._state is not None:
            self.show(self._state)

    def on_plot_tapped(self, message: Plot.Tapped) -> None:
        """Go to the tapped place in a saved ride; a tap on the curve does nothing."""
        message.stop()
        if message.plot == "overview-trip":
            self._go(seek_to(self._state, message.x, over_distance=self._choice.over_distance))

    def on_track_map_tapped(self, message: TrackMap.Tapped) -> None:
        """Go to the tapped place in a saved ride."""
        message.stop()
        self._go(seek_to_time(self._state, message.t_s))

    def _go(self, request: View.Seek | None) -> None:
        if request is not None:
            self.post_message(request)
            self._redraw.reset()
