"""The part of the water that a track's picture shows, and its scale: equal both ways, north up.

A cell is about twice as high as it is wide and holds two dots across and four down. So dots are
about square, and a length in dots is the same in every direction.
"""

import math

from groundside.dashboard.drawing.track_content import Place, TrackContent
from onboard.dataclass import dataclass

LEAST_M = 40.0
"""Least length that the shorter side shows [m]: several times a GPS's error, to keep its noise
small. Common practice, no source."""

MARGIN_DOTS = 4
"""Room left at each edge for the boxes with letters and the width of the stroke [dots]."""

STEPS_PER_POWER = 20
"""Scales per power of ten, evenly spaced: the picture holds still while the track grows."""


@dataclass(frozen=True)
class TrackFrame:
    """What a picture `wide` by `high` dots in size shows.

    Parameters
    ----------
    centre
        The place in its middle.
    dot_m
        Length of a dot, across and down [m].
    wide, high
        Size in dots.
    """

    centre: Place
    dot_m: float
    wide: int
    high: int

    def dot(self, place: Place) -> tuple[float, float]:
        """Return a place in dots from the top left."""
        east, north = place[0] - self.centre[0], place[1] - self.centre[1]
        return (self.wide - 1) / 2 + east / self.dot_m, (self.high - 1) / 2 - north / self.dot_m

    def place(self, x: float, y: float) -> Place:
        """Return the place of a dot."""
        east, north = x - (self.wide - 1) / 2, (self.high - 1) / 2 - y
        return self.centre[0] + east * self.dot_m, self.centre[1] + north * self.dot_m


def track_frame(content: TrackContent, wide: int, high: int) -> TrackFrame:
    """Return the frame around all of a track, home and craft, or around what is near the craft."""
    least_m = LEAST_M / min(wide, high)
    if content.near_m is not None and content.craft is not None:
        dot_m = _rounded_up(max(content.near_m / min(wide, high), least_m))
        return _on_grid(content.craft.place, dot_m, wide, high)
    east = [one for piece in content.pieces for one in piece.east_m]
    north = [one for piece in content.pieces for one in piece.north_m]
    for place in (content.home, content.craft.place if content.craft else None):
        if place is not None:
            east.append(place[0])
            north.append(place[1])
    if not east:
        return TrackFrame((0.0, 0.0), _rounded_up(least_m), wide, high)
    across = (max(east) - min(east)) / max(1, wide - 1 - 2 * MARGIN_DOTS)
    up = (max(north) - min(north)) / max(1, high - 1 - 2 * MARGIN_DOTS)
    dot_m = _rounded_up(max(across, up, least_m))
    middle = (max(east) + min(east)) / 2, (max(north) + min(north)) / 2
    return _on_grid(middle, dot_m, wide, high)


def _on_grid(middle: Place, dot_m: float, wide: int, high: int) -> TrackFrame:
    """Return a frame that moves only by whole dots, so that the track does not shimmer."""
    centre = round(middle[0] / dot_m) * dot_m, round(middle[1] / dot_m) * dot_m
    return TrackFrame(centre, dot_m, wide, high)


def _rounded_up(dot_m: float) -> float:
    steps = math.ceil(math.log10(dot_m) * STEPS_PER_POWER - 1e-6)
    return math.pow(10.0, steps / STEPS_PER_POWER)


def scale_bar(
    frame: TrackFrame, units: tuple[tuple[str, float, float], ...], most_dots: int
) -> tuple[int, str]:
    """Return the length of a scale bar in dots and in words: 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    frame
        The picture's scale.
    units
        Units: name, length [m] and the least number of them that reads well.
    most_dots
        Longest bar [dots].
    """
    longest_m = most_dots * frame.dot_m
    for name, unit_m, least in units:
        power = 10.0 ** math.floor(math.log10(longest_m / unit_m))
        length = max(times * power for times in (1, 2, 5) if times * power * unit_m <= longest_m)
        if length >= least:
            return round(length * unit_m / frame.dot_m), f"{length:g} {name}"
    return 0, ""
