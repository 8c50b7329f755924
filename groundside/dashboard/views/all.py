"""All views: a new one is a row here, and a file with its name, purpose and keys."""

from collections.abc import Callable

from groundside.dashboard.keys import Key
from groundside.dashboard.views.aim import AimView
from groundside.dashboard.views.base import View
from groundside.dashboard.views.craft import CraftView
from groundside.dashboard.views.curve import CurveView
from groundside.dashboard.views.home import HomeView
from groundside.dashboard.views.more import MoreView
from groundside.dashboard.views.ride import RideView
from groundside.dashboard.views.runs import RunsView
from groundside.dashboard.views.track import TrackView
from groundside.dashboard.views.trip import TripView

VIEWS: tuple[type[View], ...] = (
    RideView,
    CurveView,
    TripView,
    HomeView,
    TrackView,
    RunsView,
    AimView,
    CraftView,
    MoreView,
)
"""In the order of their tabs; the position is the view's key, from 1."""

VIEW_KEYS = tuple(
    Key((str(place),), str(place), f"view('{view.NAME}')", view.PURPOSE)
    for place, view in enumerate(VIEWS, 1)
)


def make_views(keys: tuple[Key, ...], clock: Callable[[], float]) -> tuple[View, ...]:
    """Return an instance of each view.

    Parameters
    ----------
    keys
        The app's keys, for the view that lists them.
    clock
        A monotonic clock [s].
    """
    own = {view.NAME: view.KEYS for view in VIEWS if view.KEYS}
    return tuple(MoreView(clock, keys, own) if view is MoreView else view(clock) for view in VIEWS)
