"""Wh/km over a window: energy over distance from the cumulative curves, as a ratio of sums."""

from dataclasses import dataclass

from onboard.efficiency.figure import Estimate, Figure, Unknown

HARDLY_MOVING_MPS = 0.3
"""Below this mean speed over a window the ratio says more about drift than about the craft."""

HARDLY_MOVED_M = 20.0
"""Below this distance a trip's ratio is not quoted."""

SHORTEST_S = 5.0
"""A window that holds less than this is not quoted."""


@dataclass(frozen=True)
class Stretch:
    """Energy and distance between two times of the stream.

    Parameters
    ----------
    seconds_s
        Its length [s].
    energy_wh
        Battery-side energy [Wh].
    distance_m
        Distance over ground [m].
    """

    seconds_s: float
    energy_wh: float
    distance_m: float


def wh_per_km(stretch: Stretch | Unknown) -> Estimate:
    """Give the consumption over a stretch [Wh/km].

    Examples
    --------
    >>> wh_per_km(Stretch(5400.0, 385.0, 11_300.0)).value.__round__(1)
    34.1
    >>> wh_per_km(Stretch(20.0, 0.1, 1.0))
    Unknown(why='hardly moving')
    """
    if isinstance(stretch, Unknown):
        return stretch
    if stretch.distance_m < HARDLY_MOVING_MPS * stretch.seconds_s:
        return Unknown("hardly moving")
    return Figure(stretch.energy_wh / (stretch.distance_m / 1000.0))


def trip_wh_per_km(energy_wh: Estimate, distance_m: Estimate) -> Estimate:
    """Give the consumption of a whole trip, stops included [Wh/km]."""
    if isinstance(energy_wh, Unknown):
        return energy_wh
    if isinstance(distance_m, Unknown):
        return distance_m
    if distance_m.value < HARDLY_MOVED_M:
        return Unknown("hardly moved yet")
    return Figure(energy_wh.value / (distance_m.value / 1000.0))
