"""The overview beside the glance on a wide screen: curve, track, way home and trip."""

from textual.containers import Container

from groundside.dashboard.content.curve import curve_content
from groundside.dashboard.content.home import home_content
from groundside.dashboard.content.track import track_content
from groundside.dashboard.content.trip import trip_content
from groundside.dashboard.drawing.kept import Kept
from groundside.dashboard.layout.wide_rows import WidePlaces
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import set_heights
from groundside.dashboard.views.trip_choice import TripChoice
from groundside.dashboard.widgets.home_panel import HomePanel
from groundside.dashboard.widgets.plot import Plot
from groundside.dashboard.widgets.track_map import TrackMap


class Panels(Kept, Container):
    """Panels side by side."""


class Overview(Kept, Container):
    """Draws the ride so far; callers limit how often."""

    def __init__(self) -> None:
        self._curve = Plot(id="overview-curve")
        self._track = TrackMap(id="overview-track")
        self._upper = Panels(self._curve, self._track, id="overview-upper")
        self._home = HomePanel(id="overview-home")
        self._trip = Plot(id="overview-trip")
        super().__init__(self._upper, self._home, self._trip, id="overview")

    def set_places(self, places: WidePlaces) -> None:
        """Set the sizes of the panels."""
        set_heights(
            (self._upper, places.upper), (self._home, places.home), (self._trip, places.trip)
        )
        self._curve.styles.width, self._track.styles.width = places.curve, places.track

    @property
    def shows_place(self) -> bool:
        """Whether a replay's time bar stands under the trip's plot."""
        return self._trip.content is not None and self._trip.content.bar is not None

    def show(self, state: ViewState, choice: TripChoice) -> None:
        """Draw a state."""
        self._curve.content = curve_content(state, of_consumption=False).plot
        self._track.content = track_content(state)
        self._home.content = home_content(state)
        trip = trip_content(state, (choice.panel,), over_distance=choice.over_distance, bar=True)
        self._trip.content = trip.plots[0]
