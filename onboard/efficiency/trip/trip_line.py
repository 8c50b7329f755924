"""The trip so far as a polyline of energy, distance and position, thinned as it grows."""

import math
from typing import Any, Final, Self

import numpy as np

from onboard.block import FloatArray
from onboard.contract.trip_line import POINTS_MOST, Position, TripLine
from onboard.efficiency.sources.settled_seconds import SettledSeconds

FUSED_PLACE: Final = (("fused", "latitude_deg"), ("fused", "longitude_deg"))
"""The autopilot's own estimate, for a craft that does not send the GPS's position."""


def _position_deg(seconds: SettledSeconds) -> tuple[FloatArray, FloatArray]:
    """Return latitude and longitude at each second [deg]: the GPS's, or else the autopilot's."""
    latitude, longitude = seconds.latitude_deg, seconds.longitude_deg
    fused = [seconds.readings.get(reading) for reading in FUSED_PLACE]
    if fused[0] is None or fused[1] is None:
        return latitude, longitude
    known = np.isfinite(latitude) & np.isfinite(longitude)
    return np.where(known, latitude, fused[0]), np.where(known, longitude, fused[1])


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
        self.position_deg: list[Position | None] = []
        self.every_s = 1.0
        """Spacing of the points [s]; wider where nothing came in."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in settled seconds: the totals of both meters where both count."""
        both = np.isfinite(seconds.energy_wh) & np.isfinite(seconds.made_m)
        columns = seconds.t_s, seconds.made_m, seconds.energy_wh, *_position_deg(seconds)
        rows = zip(*(column[both].tolist() for column in columns), strict=True)
        for t_s, made_m, energy_wh, *place in rows:
            known = all(map(math.isfinite, place))
            self.add(t_s, made_m, energy_wh, (place[0], place[1]) if known else None)

    def add(
        self,
        t_s: float,
        distance_m: float,
        energy_wh: float,
        position_deg: Position | None = None,
    ) -> None:
        """Add a point, if one is due.

        Parameters
        ----------
        t_s
            Stream time [s]; one earlier than the last point begins a new line.
        distance_m, energy_wh
            Totals so far.
        position_deg
            Latitude and longitude there; None if unknown.
        """
        if self.t_s and t_s < self.t_s[-1]:
            self.clear()
        if self.t_s and t_s < self.due_s:
            return
        self.t_s.append(t_s)
        self.distance_m.append(distance_m)
        self.energy_wh.append(energy_wh)
        self.position_deg.append(position_deg)
        if len(self.t_s) >= POINTS_MOST:
            self.every_s *= 2.0
            for column in self._columns():
                del column[1::2]

    def clear(self) -> None:
        """Remove all points."""
        for column in self._columns():
            column.clear()
        self.every_s = 1.0

    def _columns(self) -> tuple[list[Any], ...]:
        return self.t_s, self.distance_m, self.energy_wh, self.position_deg

    @property
    def due_s(self) -> float:
        """Stream time from which the next point is added [s]."""
        return self.t_s[-1] + self.every_s - 1e-6 if self.t_s else -math.inf

    def record(self) -> TripLine:
        """Return the line as it stands."""
        t_s, distance_m, energy_wh, position_deg = map(tuple, self._columns())
        return TripLine(t_s, distance_m, energy_wh, self.every_s, position_deg)

    @classmethod
    def of(cls, record: TripLine) -> Self:
        """Return a line that continues a record."""
        line = cls()
        line.t_s, line.distance_m = list(record.t_s), list(record.distance_m)
        line.energy_wh, line.every_s = list(record.energy_wh), max(record.every_s, 1.0)
        line.position_deg = list(record.position_deg)
        return line
