"""Distance along the track: Doppler velocity integrated second by second, less the noise bias.

Summing speeds would count noise: a speed is never negative, and sideways noise increases it. So
velocities are summed as vectors, and each second's displacement counts along the direction of the
five seconds around it: waves shorter than that and white noise cancel, and a turn loses nothing.
"""

import math

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.common_practice import DRIFT_MPS, REST_FOR_S
from onboard.efficiency.meters.cumulative import CumulativeCurves
from onboard.efficiency.meters.doppler_noise import DopplerNoise

SMOOTH_S = 5
"""Movement shorter than this is waves and noise, not distance covered [s]."""

REACH = SMOOTH_S // 2
"""Seconds that must follow one before its direction is settled."""

REST_MPS = 0.2
"""Smoothed speed below which the craft is at rest [m/s]: noise of 0.05 m/s on each axis, with any
correlation time, exceeds it once in 3,000 times (Rayleigh distribution)."""


class Track:
    """Turn cumulative displacement into distance along the track, one whole second at a time."""

    def __init__(self) -> None:
        self.curve = CumulativeCurves("distance_m")
        """Distance at whole seconds, as far as settled."""
        self.noise = DopplerNoise()
        self.under_way_s = 0.0
        """Seconds counted as under way [s]."""
        self.rest_s = 0.0
        """Seconds counted as rest [s]."""
        self._uncounted_m = 0.0
        self.max_speed_mps = 0.0
        self._second: int | None = None
        # Displacement (east, north) of the last seconds: REACH settled ones, then those waiting.
        self._pending = np.empty((0, 2))
        self._waiting = 0
        self._rest = np.zeros(3)

    @property
    def at_rest_m(self) -> float:
        """Displacement during rest by the velocities, not counted as distance [m]."""
        return self._uncounted_m + float(np.hypot(self._rest[0], self._rest[1]))

    @property
    def settled_s(self) -> float:
        """Stream time up to which the curve is settled [s]."""
        return self.curve.last_s if self.curve.last_s is not None else -np.inf

    def fold(self, displacement: CumulativeCurves) -> None:
        """Fold the seconds that the curves of `east_m` and `north_m` reach by now."""
        last_s = displacement.last_s
        if last_s is None or displacement.first_s is None:
            return
        if self._second is None:
            self._second = int(np.floor(displacement.first_s))
            self.curve.extend(np.array([float(self._second)]), np.zeros((1, 1)))
        count = int(np.floor(last_s)) - self._second
        if count <= 0:
            return
        grid = self._second + np.arange(count + 1.0)
        new = np.stack(
            [np.diff(displacement.at("east_m", grid)), np.diff(displacement.at("north_m", grid))],
            axis=1,
        )
        self._second += count
        self._pending = np.concatenate([self._pending, new])
        self._waiting += count
        self._settle(self._waiting - REACH)
        self.max_speed_mps = max(self.max_speed_mps, float(np.hypot(new[:, 0], new[:, 1]).max()))

    def total_m(self, displacement: CumulativeCurves, t_s: float) -> float:
        """Return the distance up to a time [m], including seconds not settled yet."""
        if t_s <= self.settled_s or displacement.last_s is None or self.curve.last_s is None:
            return self.curve.at("distance_m", t_s)
        settled_s = self.curve.last_s
        end_s = min(t_s, displacement.last_s)
        times = np.array([settled_s, end_s])
        east, north = (np.diff(displacement.at(name, times))[0] for name in ("east_m", "north_m"))
        length_m = math.hypot(east, north)
        known = self._pending[-(self._waiting + REACH) :]
        smooth = math.hypot(*(known.sum(axis=0) / len(known))) if len(known) else 0.0
        if smooth < REST_MPS:
            length_m = 0.0
        return self.curve.total("distance_m") + length_m

    def _settle(self, count: int) -> None:
        """Settle the first `count` of the waiting seconds."""
        if count <= 0:
            return
        before = len(self._pending) - self._waiting
        padded = np.concatenate([np.zeros((REACH - before, 2)), self._pending])
        # Summed separately for each second: equal to the last bit for any partition.
        shifted = [padded[n : n + count] for n in range(SMOOTH_S)]
        around = shifted[0] + shifted[1] + shifted[2] + shifted[3] + shifted[4]
        own = self._pending[before : before + count]
        # At the very start there are fewer seconds to take the direction from.
        seconds: FloatArray = np.full(count, float(SMOOTH_S))
        if before < REACH:
            lacking = np.arange(REACH - before, 0, -1.0)[:count]
            seconds[: len(lacking)] -= lacking
        size = np.hypot(around[:, 0], around[:, 1])
        smooth: FloatArray = size / seconds
        moves: npt.NDArray[np.bool_] = smooth >= REST_MPS
        along = np.divide((own * around).sum(axis=1), size, out=np.zeros(count), where=moves)
        excess = self.noise.fold(moves, own)
        along -= np.divide(excess, smooth, out=np.zeros(count), where=moves)
        increments = np.where(moves, np.maximum(along, 0.0), 0.0).astype(np.float64)
        self._count_rest(own, moves, increments)
        self.under_way_s += float(np.count_nonzero(moves))
        first = (self.curve.last_s or 0.0) + 1.0
        self.curve.extend(first + np.arange(count, dtype=np.float64), increments[None])
        self._pending = self._pending[max(before + count - REACH, 0) :]
        self._waiting -= count

    def _count_rest(
        self, own: FloatArray, moves: npt.NDArray[np.bool_], increments: FloatArray
    ) -> None:
        if moves.all():
            return
        for n in range(len(own)):
            if not moves[n]:
                self._rest += (*own[n], 1.0)
                self.rest_s += 1.0
                if self._rest[2] >= REST_FOR_S:
                    increments[n] += self._end_rest()

    def _end_rest(self) -> float:
        """End a stretch at rest; return its contribution to the distance [m]."""
        east, north, seconds = self._rest.tolist()
        self._rest[:] = 0.0
        way = float(np.hypot(east, north))
        if way > DRIFT_MPS * seconds:
            return way
        self._uncounted_m += way
        return 0.0
