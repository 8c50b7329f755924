"""How long battery power, speed and course have been steady up to now, as a rider on a run sees it.

Pieces of ten seconds, in which waves average out, are judged against the mean of those before.
"""

import math
from collections.abc import Iterator

from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Steady
from onboard.efficiency.meters.steadiness import (
    COURSE_SLOWEST_MPS,
    RUN_PIECE_S,
    RUN_PIECES_LEAST,
    RUN_POWER_FRACTION,
    STEADY_COURSE_DEG,
    speed_tolerance_mps,
)
from onboard.efficiency.sources.settled_seconds import SettledSeconds

NOT_STEADY = Unknown(Reason.NOT_STEADY)


class SteadyNow:
    """The steady stretch that lasts up to the newest piece."""

    def __init__(self) -> None:
        self._rows: list[tuple[float, float, float, float]] = []
        self._count = 0
        self._sums = [0.0] * 6
        """Sums of power, speed, east, north, cost and cost squared; cost is power over speed."""

    def fold(self, seconds: SettledSeconds) -> Iterator[float]:
        """Fold settled seconds, in order; yield the end of each piece [s] once it is judged."""
        columns = (seconds.t_s, seconds.power_w, seconds.east_mps, seconds.north_mps)
        for row in zip(*(column.tolist() for column in columns), strict=True):
            self._rows.append(row)
            if row[0] % RUN_PIECE_S == 0:
                self._judge()
                yield row[0]

    def now(self) -> Steady:
        """Return the steady stretch that lasts up to now."""
        count = self._count
        if not count:
            return Steady(0.0, NOT_STEADY, NOT_STEADY, NOT_STEADY)
        power, speed, _, _, cost, squares = (total / count for total in self._sums)
        scatter: Number = Unknown(Reason.TOO_FEW_PIECES)
        if count >= RUN_PIECES_LEAST:
            variance = max(squares - cost**2, 0.0) / (count - 1)
            scatter = math.sqrt(variance) / cost
        return Steady(float(count * RUN_PIECE_S), power, speed, scatter)

    def _judge(self) -> None:
        rows, self._rows = self._rows, []
        power, east, north = (sum(row[n] for row in rows) / RUN_PIECE_S for n in (1, 2, 3))
        speed = math.hypot(east, north)
        sound = math.isfinite(power + speed) and power > 0 and speed >= COURSE_SLOWEST_MPS
        whole = len(rows) == RUN_PIECE_S and sound
        if not whole or not self._continues(power, speed, east, north):
            self._count, self._sums = 0, [0.0] * 6
        if whole:
            cost = power / speed
            self._count += 1
            piece = (power, speed, east, north, cost, cost**2)
            self._sums = [total + one for total, one in zip(self._sums, piece, strict=True)]

    def _continues(self, power: float, speed: float, east: float, north: float) -> bool:
        if not self._count:
            return True
        power_before, speed_before, east_before, north_before = (
            total / self._count for total in self._sums[:4]
        )
        turned = math.degrees(math.atan2(east, north) - math.atan2(east_before, north_before))
        return (
            abs(power - power_before) <= RUN_POWER_FRACTION * power_before
            and abs(speed - speed_before) <= float(speed_tolerance_mps(speed_before))
            and abs((turned + 180.0) % 360.0 - 180.0) <= STEADY_COURSE_DEG
        )
