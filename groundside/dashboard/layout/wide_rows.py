"""Places of the panels of the wide screen: the glance on the left, the overview beside it."""

from onboard.dataclass import dataclass

WIDE_COLUMNS, WIDE_ROWS = 110, 24
"""Size from which a view has room for all panels, on a screen of about 110 by 34."""
GLANCE_SHARE, GLANCE_LEAST = 0.36, 43
"""Share of the width that the glance takes, and what its digits need [columns]."""
TRIP_SHARE, TRIP_LEAST = 0.4, 10
"""Share of the height that the trip's plot takes, and its least height [rows]."""
HOME_ROWS, HIGH_HOME_ROWS, HIGH_ROWS = 4, 7, 40
"""Height of the way home in a low view, in a high one, and from where a view is high [rows]."""


@dataclass(frozen=True)
class WidePlaces:
    """Sizes of the panels in cells.

    Parameters
    ----------
    glance
        Width of the glance.
    curve, track
        Widths of the two panels side by side.
    upper, home, trip
        Heights of the parts beside the glance, from top to bottom.
    """

    glance: int
    curve: int
    track: int
    upper: int
    home: int
    trip: int


def wide_places(width: int, height: int) -> WidePlaces | None:
    """Return the places of the panels in a view; None if there is too little room for all.

    Examples
    --------
    >>> wide_places(120, 34)
    WidePlaces(glance=43, curve=38, track=39, upper=16, home=4, trip=14)
    >>> wide_places(105, 34) is None
    True
    """
    if width < WIDE_COLUMNS or height < WIDE_ROWS:
        return None
    glance = max(GLANCE_LEAST, round(GLANCE_SHARE * width))
    curve = (width - glance) // 2
    home = HIGH_HOME_ROWS if height >= HIGH_ROWS else HOME_ROWS
    trip = max(TRIP_LEAST, round(TRIP_SHARE * height))
    return WidePlaces(glance, curve, width - glance - curve, height - home - trip, home, trip)
