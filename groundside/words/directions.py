"""Directions in words: to home, and of the water's set."""

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import SetAndDrift, Snapshot
from onboard.dataclass import dataclass

COURSE_MPS = 0.4
"""Speed below which a course made good is the receiver's noise [m/s]."""

STEP_DEG = 5
"""Step of displayed angles [deg]: nobody steers more finely, and a flickering digit distracts."""

POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True)
class Turn:
    """The direction of home relative to the rider.

    Parameters
    ----------
    angle_deg
        Angle from ahead, positive to the right, in steps; None if the rider's own direction is
        unknown.
    of
        The reference for ahead: `your course` or `the bow`.
    """

    angle_deg: int | None = None
    of: str = ""

    @property
    def aside(self) -> bool:
        """Whether home lies to one side, neither ahead nor behind."""
        size = abs(self.angle_deg or 0)
        return 2 * STEP_DEG <= size <= 180 - 2 * STEP_DEG

    @property
    def words(self) -> str:
        """The angle in words, such as `40 deg to the left`; empty if unknown."""
        if self.angle_deg is None:
            return ""
        size = abs(self.angle_deg)
        if self.aside:
            return f"{size} deg to the {self.side}"
        return "straight ahead" if size < 90 else "straight behind"

    @property
    def side(self) -> str:
        """The side to turn to."""
        return "right" if (self.angle_deg or 0) > 0 else "left"


def turn_to(bearing_deg: float, snapshot: Snapshot) -> Turn:
    """Return a bearing relative to the course made good or, at rest, to the bow.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from onboard.contract.reasons import Reason
    >>> from onboard.contract.snapshot import unknown_snapshot
    >>> nothing = unknown_snapshot(Unknown(Reason.NO_DATA), "a test")
    >>> turn_to(20.0, replace(nothing, speed_mps=2.0, course_deg=62.0)).words
    '40 deg to the left'
    """
    speed_mps, ahead_deg, of = snapshot.speed_mps, snapshot.course_deg, "your course"
    at_rest = isinstance(speed_mps, Unknown) or speed_mps < COURSE_MPS
    if at_rest or isinstance(ahead_deg, Unknown):
        ahead_deg, of = snapshot.heading_deg, "the bow"
    if isinstance(ahead_deg, Unknown):
        return Turn()
    angle_deg = (bearing_deg - ahead_deg + 180.0) % 360.0 - 180.0
    return Turn(STEP_DEG * round(angle_deg / STEP_DEG), of)


def point_of(direction_deg: float) -> str:
    """Return the nearest of eight compass points.

    Examples
    --------
    >>> point_of(47.0), point_of(350.0)
    ('NE', 'N')
    """
    return POINTS[round(direction_deg / 45.0) % 8]


def spread_along(water: SetAndDrift, east: float, north: float) -> float | None:
    """Return the variance of set and drift along a unit vector [m2/s2]; None if not positive."""
    ee, en, nn = water.covariance_m2ps2
    variance = ee * east * east + 2 * en * east * north + nn * north * north
    return variance if variance > 0 else None
