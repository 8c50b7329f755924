"""The content of a track, free of screen code: the way in metres, and the places on it."""

from onboard.dataclass import dataclass

Place = tuple[float, float]
"""Metres east and north of the track's origin."""


@dataclass(frozen=True)
class TrackPiece:
    """A stretch of the way without a gap; columns of equal length.

    Parameters
    ----------
    t_s
        Stream time of each point [s].
    east_m, north_m
        Its place.
    shade
        The class of consumption of the way to each point, 0 being the lowest; None if unknown.
    """

    t_s: tuple[float, ...] = ()
    east_m: tuple[float, ...] = ()
    north_m: tuple[float, ...] = ()
    shade: tuple[int | None, ...] = ()


@dataclass(frozen=True)
class CraftPlace:
    """Where the craft is, and where its bow points: degrees from north, None if unknown."""

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
        Stream time of the cursor in a saved ride [s]: what is later is ahead. None if live.
    craft, home
        Places on it; None if unknown.
    limits
        Ends of the middle class of consumption, in the reader's unit.
    cost_unit
        That unit, such as `Wh/km`; empty if no consumption is known.
    length_units
        Units for the scale, with their length [m] and the least number of them worth writing; the
        first that fits is used.
    near_m
        What the shorter side of the picture shows around the craft [m]; None shows all.
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
