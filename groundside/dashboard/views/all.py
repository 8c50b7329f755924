"""All views, in the order of their tabs."""

from collections.abc import Callable

from groundside.dashboard.views.aim import AimView
from groundside.dashboard.views.base import View
from groundside.dashboard.views.craft import CraftView
from groundside.dashboard.views.curve import CurveView
from groundside.dashboard.views.home import HomeView
from groundside.dashboard.views.more import MoreView
from groundside.dashboard.views.ride import RideView
from groundside.dashboard.views.runs import RunsView
from groundside.dashboard.views.trip import TripView


def all_views(keys: tuple[tuple[str, str], ...], clock: Callable[[], float]) -> tuple[View, ...]:
    """Make one of each.

    Parameters
    ----------
    keys
        Every key with what it does, for the view that tells them.
    clock
        A monotonic clock [s].
    """
    return (
        RideView(),
        CurveView(),
        TripView(),
        HomeView(clock),
        CraftView(clock),
        RunsView(clock),
        AimView(),
        MoreView(keys),
    )
