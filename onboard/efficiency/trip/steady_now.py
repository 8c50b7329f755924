"""For how long battery power and course have been held, up to now: what a rider on a run looks at.

It judges pieces of ten seconds, in which waves average out, against the mean of those before.
"""

import math
from collections.abc import Iterator

import numpy as np

from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Steady
from onboard.efficiency.sources.settled_seconds import Cells

PIECE_S = 10
POWER_FRACTION = 0.05
SPEED_FRACTION, SPEED_MPS = 0.05, 0.08
COURSE_DEG = 15.0
"""A piece may differ from the mean of those before it by this much. Common practice, no source."""

SLOWEST_MPS = 0.4
PIECES_LEAST = 3
"""Fewer tell nothing of how they scatter."""


NOT_HELD = Unknown(Reason.NOT_STEADY)


class SteadyNow:
    """Keeps the stretch that is held up to the newest piece."""

    def __init__(self) -> None:
        self._rows: list[tuple[float, float, float, float]] = []
        self._count = 0
        self._sums = np.zeros(6)
        """Of power, speed, east, north, and of the cost and its square; cost is power / speed."""

    def fold(self, cells: Cells) -> Iterator[float]:
        """Take in settled seconds, in order; give the end of each piece [s] once it is judged."""
        columns = (cells.t_s, cells.power_w, cells.east_mps, cells.north_mps)
        for row in zip(*(column.tolist() for column in columns), strict=True):
            self._rows.append(row)
            if row[0] % PIECE_S == 0:
                self._judge()
                yield row[0]

    def now(self) -> Steady:
        """Return the stretch that is held now."""
        count = self._count
        if not count:
            return Steady(0.0, NOT_HELD, NOT_HELD, NOT_HELD)
        power, speed, _, _, cost, squares = (self._sums / count).tolist()
        scatter: Number = Unknown(Reason.TOO_FEW_PIECES)
        if count >= PIECES_LEAST:
            variance = max(squares - cost**2, 0.0) / (count - 1)
            scatter = math.sqrt(variance) / cost
        return Steady(float(count * PIECE_S), power, speed, scatter)

    def _judge(self) -> None:
        rows, self._rows = self._rows, []
        power, east, north = (sum(row[n] for row in rows) / PIECE_S for n in (1, 2, 3))
        speed = math.hypot(east, north)
        sound = math.isfinite(power + speed) and power > 0 and speed >= SLOWEST_MPS
        whole = len(rows) == PIECE_S and sound
        if not whole or not self._goes_on(power, speed, east, north):
            self._count, self._sums = 0, np.zeros(6)
        if whole:
            cost = power / speed
            self._count += 1
            self._sums += (power, speed, east, north, cost, cost**2)

    def _goes_on(self, power: float, speed: float, east: float, north: float) -> bool:
        if not self._count:
            return True
        power_before, speed_before, east_before, north_before = (
            self._sums[:4] / self._count
        ).tolist()
        turned = math.degrees(math.atan2(east, north) - math.atan2(east_before, north_before))
        return (
            abs(power - power_before) <= POWER_FRACTION * power_before
            and abs(speed - speed_before) <= max(SPEED_FRACTION * speed_before, SPEED_MPS)
            and abs((turned + 180.0) % 360.0 - 180.0) <= COURSE_DEG
        )
