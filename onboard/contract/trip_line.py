"""The trip so far as a line: energy, distance and position against time."""

import itertools

from onboard.dataclass import dataclass

POINTS_MOST = 400
"""More than a terminal has columns, yet few enough to send now and then."""

Position = tuple[float, float]
"""Latitude and longitude [deg]."""


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
    position_deg
        Latitude and longitude at each point, null where unknown; all unknown if left out.

    Raises
    ------
    ValueError
        If the columns differ in length or are too long, or if time does not rise.
    """

    t_s: tuple[float, ...] = ()
    distance_m: tuple[float, ...] = ()
    energy_wh: tuple[float, ...] = ()
    every_s: float = 1.0
    position_deg: tuple[Position | None, ...] = ()

    def __post_init__(self) -> None:
        if not self.position_deg:
            object.__setattr__(self, "position_deg", (None,) * len(self.t_s))
        columns = (self.t_s, self.distance_m, self.energy_wh, self.position_deg)
        alike = len({len(column) for column in columns}) == 1 and len(self.t_s) <= POINTS_MOST
        if not alike or not self.every_s > 0:
            raise ValueError("the columns of a trip line differ in length, or are too long")
        if not all(a < b for a, b in itertools.pairwise(self.t_s)):
            raise ValueError("the time of a trip line does not rise")

    def rounded(self) -> "TripLine":
        """Return the line rounded to what a screen shows, for sending over the network.

        Positions are rounded to 1e-5 deg: 1.1 m along a meridian, below a GPS's own error.
        """
        return TripLine(
            tuple(round(value, 2) for value in self.t_s),
            tuple(round(value, 1) for value in self.distance_m),
            tuple(round(value, 2) for value in self.energy_wh),
            self.every_s,
            tuple(
                None if place is None else (round(place[0], 5), round(place[1], 5))
                for place in self.position_deg
            ),
        )
