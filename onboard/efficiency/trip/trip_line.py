"""The trip so far as a polyline: energy and distance over time, thinned as the trip grows."""

import math
from typing import Self

import numpy as np

from onboard.block import FloatArray
from onboard.contract.trip_line import POINTS_MOST, TripLine
from onboard.efficiency.sources.power_sources import PowerSources
from onboard.efficiency.sources.speed_sources import SpeedSources


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


def extend_line(
    line: GrowingLine, t_s: FloatArray, power: PowerSources, speed: SpeedSources
) -> None:
    """Add the totals of both meters to a line, at the seconds where both count.

    Parameters
    ----------
    line
        The line.
    t_s
        Ends of settled seconds [s], shape (n,).
    power, speed
        The sources of both meters.
    """
    for at_s in t_s.tolist():
        if at_s < line.due_s:
            continue
        side, meter = power.chosen(at_s), speed.chosen(at_s)
        if side is not None and meter is not None:
            energy_wh = float(side.at("energy_wh", np.array([at_s]))[0])
            line.add(at_s, meter.at_m(at_s), energy_wh)
