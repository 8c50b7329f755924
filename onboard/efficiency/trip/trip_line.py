"""The trip so far as a polyline: energy and distance over time, thinned as the trip grows."""

import math
from typing import Self

import numpy as np

from onboard.contract.trip_line import POINTS_MOST, TripLine
from onboard.efficiency.sources.settled_seconds import SettledSeconds


class GrowingLine:
    """Points of a trip in order of time, evenly apart and bounded in number.

    Examples
    --------
    >>> line = GrowingLine()
    >>> for second in range(1000):
    ...     line.add(float(second), 2.0 * second, 0.1 * second)
    >>> len(line.t_s), line.every_s, line.t_s[1], line.t_s[-1]
    (250, 4.0, 4.0, 996.0)
    """

    def __init__(self) -> None:
        self.t_s: list[float] = []
        self.distance_m: list[float] = []
        self.energy_wh: list[float] = []
        self.every_s = 1.0
        """Spacing of the points [s]; wider where nothing came in."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in settled seconds: the totals of both meters where both count."""
        both = np.isfinite(seconds.energy_wh) & np.isfinite(seconds.made_m)
        columns = seconds.t_s[both], seconds.made_m[both], seconds.energy_wh[both]
        for t_s, made_m, energy_wh in zip(*(one.tolist() for one in columns), strict=True):
            self.add(t_s, made_m, energy_wh)

    def add(self, t_s: float, distance_m: float, energy_wh: float) -> None:
        """Add a point, if one is due.

        Parameters
        ----------
        t_s
            Stream time [s]; one earlier than the last point begins a new line.
        distance_m, energy_wh
            Totals so far.
        """
        if self.t_s and t_s < self.t_s[-1]:
            self.clear()
        if self.t_s and t_s < self.due_s:
            return
        self.t_s.append(t_s)
        self.distance_m.append(distance_m)
        self.energy_wh.append(energy_wh)
        if len(self.t_s) >= POINTS_MOST:
            self.every_s *= 2.0
            for column in (self.t_s, self.distance_m, self.energy_wh):
                del column[1::2]

    def clear(self) -> None:
        """Remove all points."""
        for column in (self.t_s, self.distance_m, self.energy_wh):
            column.clear()
        self.every_s = 1.0

    @property
    def due_s(self) -> float:
        """Stream time from which the next point is added [s]."""
        return self.t_s[-1] + self.every_s - 1e-6 if self.t_s else -math.inf

    def record(self) -> TripLine:
        """Return the line as it stands."""
        return TripLine(
            tuple(self.t_s), tuple(self.distance_m), tuple(self.energy_wh), self.every_s
        )

    @classmethod
    def of(cls, record: TripLine) -> Self:
        """Return a line that continues a record."""
        line = cls()
        line.t_s, line.distance_m = list(record.t_s), list(record.distance_m)
        line.energy_wh, line.every_s = list(record.energy_wh), max(record.every_s, 1.0)
        return line
