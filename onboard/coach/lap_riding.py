"""The lap being ridden, second by second.

`trial/laps.py` finds laps in a log; here only the past is known: a lap begins once the craft has
settled, and ends where the path has come round and is closest to its start.
"""

import math

from onboard.coach.practice import (
    LAP_CLOSES_FRACTION,
    LAP_LEAST_M,
    LAP_POWER_FRACTION,
    LAP_TURNED_DEG,
    SETTLE_S,
)
from onboard.coach.stretch import RecentSeconds, Second
from onboard.dataclass import dataclass
from onboard.efficiency.meters.steadiness import COURSE_SLOWEST_MPS


@dataclass
class Lap:
    """A lap, as far as it has gone.

    Parameters
    ----------
    start_s, end_s
        In stream time [s].
    length_m
        Distance covered.
    turned_deg
        By how much the course has turned, clockwise.
    seconds
        Number of its seconds.
    """

    start_s: float
    end_s: float
    length_m: float = 0.0
    turned_deg: float = 0.0
    seconds: int = 0
    _east_m: float = 0.0
    _north_m: float = 0.0
    _energy_ws: float = 0.0

    def add(self, second: Second, turned_deg: float) -> None:
        """Extend it by a second."""
        self.end_s = second.t_s
        self.seconds += 1
        self.length_m += math.hypot(second.east_mps, second.north_mps)
        self.turned_deg += turned_deg
        self._east_m += second.east_mps
        self._north_m += second.north_mps
        self._energy_ws += second.power_w

    @property
    def from_start_m(self) -> float:
        """Distance from its start."""
        return math.hypot(self._east_m, self._north_m)

    @property
    def power_w(self) -> float:
        """Its mean power."""
        return self._energy_ws / max(self.seconds, 1)

    @property
    def has_come_round(self) -> bool:
        """Whether it is closed."""
        return (
            self.length_m >= LAP_LEAST_M
            and abs(self.turned_deg) >= LAP_TURNED_DEG
            and self.from_start_m <= LAP_CLOSES_FRACTION * self.length_m
        )


class LapRiding:
    """Follows the laps of a ride."""

    def __init__(self) -> None:
        self.recent = RecentSeconds()
        self.now: Lap | None = None
        """The present lap; None before the craft has settled."""
        self.settled_s = 0
        """Seconds under way at one power."""
        self.course_m: float | None = None
        """Length of the last lap that was finished; None before."""
        self._closest_m = math.inf

    def fold(self, second: Second) -> Lap | None:
        """Fold a second; return the lap that it finished, if any."""
        recent = self.recent
        if not recent.fold(second) or recent.speed_mps < COURSE_SLOWEST_MPS:
            self._give_up()
            return None
        self.settled_s += 1
        if self.now is None:
            if self.settled_s > SETTLE_S:
                self._begin(second.t_s)
            return None
        lap = self.now
        lap.add(second, recent.turned_deg)
        if lap.seconds >= SETTLE_S and (
            abs(recent.power_w / max(lap.power_w, 1e-9) - 1.0) > LAP_POWER_FRACTION
        ):
            self._give_up()
            return None
        if lap.has_come_round:
            if lap.from_start_m <= self._closest_m:
                self._closest_m = lap.from_start_m
                return None
            self.course_m = lap.length_m
            self._begin(second.t_s)
            return lap
        return None

    def _begin(self, t_s: float) -> None:
        self.now, self._closest_m = Lap(t_s, t_s), math.inf

    def _give_up(self) -> None:
        self.now, self.settled_s = None, 0
