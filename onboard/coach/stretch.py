"""The straight stretch being ridden, second by second.

`trial/stretches.py` finds runs in a log, looking both ways; here only the past is known. The rules
are the same, so a stretch begins a few seconds later here, and a run that the coach calls done is
one there.
"""

import math
from collections import deque

from onboard.dataclass import dataclass
from onboard.efficiency.meters.steadiness import (
    COURSE_SLOWEST_MPS,
    STRAY_DEG,
    STRETCH_GAP_S,
    STRETCH_POWER_FRACTION,
    TURNING_DEG,
    TURNING_MEAN_S,
    TURNING_OVER_S,
)

SEEN_AFTER_S = TURNING_OVER_S // 2
"""A log is judged by the course this much before and after each second: half of the look-back
here."""

SETTLES_S = 5
"""Seconds of a stretch before anything is compared with its means [s]."""


@dataclass(frozen=True)
class Second:
    """One settled second.

    Parameters
    ----------
    t_s
        Its end in stream time [s].
    power_w
        Battery power.
    east_mps, north_mps
        Velocity over ground.
    """

    t_s: float
    power_w: float
    east_mps: float
    north_mps: float

    @property
    def is_known(self) -> bool:
        """Whether power and velocity are known."""
        return math.isfinite(self.power_w + self.east_mps + self.north_mps)


class RecentSeconds:
    """Means over the last few seconds, and whether the craft is turning."""

    def __init__(self) -> None:
        self._seconds: deque[Second] = deque(maxlen=2 * TURNING_MEAN_S)
        self._courses: deque[float] = deque(maxlen=TURNING_OVER_S + 1)
        self.speed_mps = self.turned_deg = 0.0
        """Mean speed made good; and by how much the course turned in the last second, clockwise."""

    def clear(self) -> None:
        """Forget them."""
        self._seconds.clear()
        self._courses.clear()
        self.speed_mps = self.turned_deg = 0.0

    def fold(self, second: Second) -> bool:
        """Fold a second; return whether it follows the last one."""
        after_s = second.t_s - self._seconds[-1].t_s if self._seconds else 0.0
        if not second.is_known or after_s > STRETCH_GAP_S:
            self.clear()
            return False
        self._seconds.append(second)
        newest = list(self._seconds)[-TURNING_MEAN_S:]
        east = sum(one.east_mps for one in newest) / len(newest)
        north = sum(one.north_mps for one in newest) / len(newest)
        self.speed_mps = math.hypot(east, north)
        course_deg = math.degrees(math.atan2(east, north)) % 360.0
        self.turned_deg = apart_deg(course_deg, self._courses[-1]) if self._courses else 0.0
        self._courses.append(course_deg)
        return True

    @property
    def course_deg(self) -> float:
        """Mean course made good, 0 to 360."""
        return self._courses[-1]

    @property
    def power_w(self) -> float:
        """Mean power; NaN without."""
        powers = [one.power_w for one in self._seconds]
        return sum(powers) / len(powers) if powers else math.nan

    @property
    def goes_straight(self) -> bool:
        """Whether the craft makes way and does not turn."""
        return (
            len(self._courses) >= TURNING_MEAN_S
            and self.speed_mps >= COURSE_SLOWEST_MPS
            and abs(apart_deg(self._courses[-1], self._courses[0])) < TURNING_DEG
        )


@dataclass
class Stretch:
    """A straight stretch at one power, as far as it has gone.

    Parameters
    ----------
    start_s, end_s
        In stream time [s].
    seconds
        Number of its seconds.
    """

    start_s: float
    end_s: float
    seconds: int = 0
    _east: float = 0.0
    _north: float = 0.0
    _power_w: float = 0.0

    def add(self, second: Second, course_deg: float) -> None:
        """Extend it by a second on a course."""
        self.end_s = second.t_s
        self.seconds += 1
        self._east += math.sin(math.radians(course_deg))
        self._north += math.cos(math.radians(course_deg))
        self._power_w += second.power_w

    @property
    def ridden_s(self) -> float:
        """How long it has lasted: the end of a turn shows some seconds late."""
        return self.seconds + SEEN_AFTER_S

    @property
    def course_deg(self) -> float:
        """Its mean course, 0 to 360."""
        return math.degrees(math.atan2(self._east, self._north)) % 360.0

    @property
    def power_w(self) -> float:
        """Its mean power."""
        return self._power_w / max(self.seconds, 1)


class StraightRiding:
    """Follows the straight stretches of a ride."""

    def __init__(self) -> None:
        self.recent = RecentSeconds()
        self.now: Stretch | None = None
        """The present stretch; None while turning or at rest."""

    def fold(self, second: Second) -> Stretch | None:
        """Fold a second; return the stretch that it ended, if any."""
        before, recent = self.now, self.recent
        if not recent.fold(second) or not recent.goes_straight:
            self.now = None
            return before
        ended = None
        if before is not None and self._departs(before):
            ended, self.now = before, None
        if self.now is None:
            self.now = Stretch(second.t_s - 1.0, second.t_s)
        self.now.add(second, recent.course_deg)
        return ended

    def _departs(self, stretch: Stretch) -> bool:
        if stretch.seconds < SETTLES_S:
            return False
        strays = abs(apart_deg(self.recent.course_deg, stretch.course_deg)) > STRAY_DEG
        changes = abs(self.recent.power_w / max(stretch.power_w, 1e-9) - 1.0)
        return strays or changes > STRETCH_POWER_FRACTION


def apart_deg(one: float, other: float) -> float:
    """Return the angle from another course to one, -180 to 180.

    Examples
    --------
    >>> apart_deg(10.0, 350.0), apart_deg(350.0, 10.0)
    (20.0, -20.0)
    """
    return (one - other + 180.0) % 360.0 - 180.0
