"""Where a tap on a plot or the track leads in a replay."""

from groundside.dashboard.content.trip import place_in_replay
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View


def seek_to(state: ViewState | None, x: float, *, over_distance: bool) -> View.Seek | None:
    """Return the request to go to an x of the trip's axis; None if it cannot be reached.

    Parameters
    ----------
    state
        The present state.
    x
        Minutes since the trip's first point, or a distance in the rider's unit.
    over_distance
        Whether it is a distance.
    """
    if state is None or not state.can_seek:
        return None
    place = place_in_replay(state, x, over_distance=over_distance)
    if place is None:
        return None
    name, value = place
    return View.Seek(distance_m=value) if name == "distance_m" else View.Seek(fraction=value)


def seek_to_time(state: ViewState | None, t_s: float) -> View.Seek | None:
    """Return the request to go to a stream time [s]; None if it cannot be reached."""
    if state is None or not state.trip_line.t_s:
        return None
    return seek_to(state, (t_s - state.trip_line.t_s[0]) / 60.0, over_distance=False)
