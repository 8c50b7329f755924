"""The track view: where the craft went, north up, graded by what it cost there."""

from collections.abc import Callable
from typing import ClassVar

from textual import events

from groundside.dashboard.content.track import track_content
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.redraw_interval import RedrawInterval
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View
from groundside.dashboard.views.seeking import seek_to_time
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.track_map import TrackMap


class TrackView(View):
    """The whole track, or what is near the craft."""

    NAME: ClassVar[str] = "track"
    PURPOSE: ClassVar[str] = "where you went, and what it cost"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (ViewKey("z", "near the craft, or all", ("near",)),)

    def __init__(self, clock: Callable[[], float]) -> None:
        self._map = TrackMap(id="track-map")
        super().__init__(clock, self._map)
        self._near = False
        self._redraw = RedrawInterval()

    def on_resize(self, _event: events.Resize) -> None:
        """Draw again at once."""
        self._redraw.reset()

    def show(self, state: ViewState) -> None:
        """Draw the track, once a second at most."""
        self._state = state
        if self._redraw.due(state.now_s, (state.stale, state.units, self._near)):
            self._map.content = track_content(state, near=self._near)

    def buttons(self) -> tuple[Button, ...]:
        """Return the button that switches between near and all."""
        return (self.own_button("all" if self._near else "near", "near"),)

    def pressed(self, word: str) -> None:
        """Show what is near the craft, or all."""
        if word == "near":
            self._near = not self._near
        if self._state is not None:
            self.show(self._state)

    def on_track_map_tapped(self, message: TrackMap.Tapped) -> None:
        """Go to the tapped place in a saved ride."""
        message.stop()
        request = seek_to_time(self._state, message.t_s)
        if request is not None:
            self.post_message(request)
