"""The trip so far as a line: energy and distance against time."""

import itertools

from onboard.dataclass import dataclass

POINTS_MOST = 400
"""More than a terminal has columns, yet few enough to send now and then."""


@dataclass(frozen=True)
class TripLine:
    """Points of a trip, in order of time.

    Parameters
    ----------
    t_s
        Stream time of each point; at most `POINTS_MOST`.
    distance_m, energy_wh
        What was counted up to each point.
    every_s
        Time between points; it is longer where no data came.

    Raises
    ------
    ValueError
        If the columns differ in length or are too long, or if time does not rise.
    """

    t_s: tuple[float, ...] = ()
    distance_m: tuple[float, ...] = ()
    energy_wh: tuple[float, ...] = ()
    every_s: float = 1.0

    def __post_init__(self) -> None:
        alike = len(self.t_s) == len(self.distance_m) == len(self.energy_wh) <= POINTS_MOST
        if not alike or not self.every_s > 0:
            raise ValueError("the columns of a trip line differ in length, or are too long")
        if not all(a < b for a, b in itertools.pairwise(self.t_s)):
            raise ValueError("the time of a trip line does not rise")

    def rounded(self) -> "TripLine":
        """Return the line rounded to what a screen shows, for sending over the network."""
        return TripLine(
            tuple(round(value, 2) for value in self.t_s),
            tuple(round(value, 1) for value in self.distance_m),
            tuple(round(value, 2) for value in self.energy_wh),
            self.every_s,
        )
