"""The content of a track, free of screen code: the way in metres, and the places on it."""

from onboard.dataclass import dataclass

Place = tuple[float, float]
"""Metres east and north of the track's origin."""


@dataclass(frozen=True)
class TrackPiece:
    """A stretch of the way without a gap, as columns of equal length.

    Parameters
    ----------
    t_s
        Stream time of each point [s].
    east_m, north_m
        Its place.
    shade
        The class of consumption on the way to each point, 0 the lowest; None if unknown.
    """

    t_s: tuple[float, ...] = ()
    east_m: tuple[float, ...] = ()
    north_m: tuple[float, ...] = ()
    shade: tuple[int | None, ...] = ()


@dataclass(frozen=True)
class CraftPlace:
    """Where the craft is, and which way its bow points [deg from north]; None if unknown."""

    place: Place
    ahead_deg: float | None = None
    stale: bool = False


@dataclass(frozen=True)
class TrackContent:
    """The content of a track.

    Parameters
    ----------
    pieces
        The way, in order of time.
    now_s
        Stream time of the cursor in a saved ride [s]; all later points are ahead. None if live.
    craft, home
        Their places; None if unknown.
    limits
        Limits of the middle class of consumption, in the reader's unit.
    cost_unit
        That unit, such as `Wh/km`; empty if no consumption is known.
    length_units
        Units for the scale: name, length [m] and the least number of them that reads well; the
        first that fits is used.
    near_m
        What the shorter side of the picture shows around the craft [m]; None to show all.
    why
        Text shown instead of the track if there is nothing to draw; else None.
    """

    pieces: tuple[TrackPiece, ...] = ()
    now_s: float | None = None
    craft: CraftPlace | None = None
    home: Place | None = None
    limits: tuple[float, float] = (0.0, 0.0)
    cost_unit: str = ""
    length_units: tuple[tuple[str, float, float], ...] = (("m", 1.0, 0.0),)
    near_m: float | None = None
    why: str | None = None
