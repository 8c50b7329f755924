"""The path over ground of some seconds, and what a round of it between two places is like."""

import itertools
import math

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.meters.steadiness import (
    COURSE_SLOWEST_MPS,
    LAP_CHANGE_FRACTION,
    LAP_LEVEL_FRACTION,
    LAP_LINE_SHARE,
    LAP_SLIP_FRACTION,
    LAP_THIN_FRACTION,
    LAP_UNKNOWN_FRACTION,
    STRETCH_GAP_S,
)
from onboard.efficiency.trial.seconds import Seconds
from onboard.efficiency.trial.stretches import smoothed

Bools = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]

SMOOTH_S, BRIEF_S = 11, 3
"""Lengths of the centred means of power [s]: waves of a few seconds average out in the first, a
slip of the hand shows in the second."""

LAP_SWING_FRACTION = 0.14
"""Relative standard deviation of power up to which the mean speed of a lap is that at its mean
power. With v ~ P^m the mean speed is lower by the share m (1 - m) / 2 of the square of that
deviation: with m = 0.28 (Delft series, README.md), by a set-up's systematic 0.2 % at
sqrt(0.002 / 0.1) = 0.14."""


class Path:
    """A path, and its running sums at the n + 1 places between n seconds.

    Parameters
    ----------
    seconds
        At least one; power and velocity known.
    """

    def __init__(self, seconds: Seconds) -> None:
        self.seconds = seconds
        east, north = seconds.east_mps, seconds.north_mps
        self.step_s = np.diff(seconds.t_s, prepend=seconds.t_s[0] - 1.0)
        self.t_s = np.append(seconds.t_s - self.step_s, seconds.t_s[-1])
        self.x_m, self.y_m = _summed(east * self.step_s), _summed(north * self.step_s)
        self._along_m = _summed(np.hypot(east, north) * self.step_s)
        self._area_m2 = _summed(
            (self.y_m[:-1] * np.diff(self.x_m) - self.x_m[:-1] * np.diff(self.y_m)) / 2.0
        )
        east, north = smoothed(east), smoothed(north)
        self.smooth_mps = np.hypot(east, north)
        course = np.unwrap(np.arctan2(east, north))
        self.course = np.append(course, course[-1])
        self._twice = _summed(np.cos(2.0 * course)), _summed(np.sin(2.0 * course))
        self.moves = self.smooth_mps >= COURSE_SLOWEST_MPS
        self.smooth_w = smoothed(seconds.power_w, SMOOTH_S)
        self.brief_w = smoothed(seconds.power_w, BRIEF_S)
        self.changes = self._changes()
        """In which seconds power changes for good, or slips for a moment; shape (n,)."""
        breaks = np.flatnonzero(self.step_s > STRETCH_GAP_S).tolist()
        self.whole = list(itertools.pairwise([0, *breaks, len(seconds)]))
        """First and last places of what lies between gaps."""
        self._power, self._square = _summed(self.smooth_w), _summed(self.smooth_w**2)

    def lasts_s(self, i: Places, j: Places) -> FloatArray:
        """Return the durations of rounds from places `i` to places `j`, shape (n,) [s]."""
        return np.asarray(self.t_s[j] - self.t_s[i])

    def gap_m(self, i: Places, j: Places) -> FloatArray:
        """Return the distances from end to start [m]."""
        return np.hypot(self.x_m[j] - self.x_m[i], self.y_m[j] - self.y_m[i])

    def length_m(self, i: Places, j: Places) -> FloatArray:
        """Return the lengths [m]."""
        return np.asarray(self._along_m[j] - self._along_m[i])

    def turned(self, i: Places, j: Places) -> FloatArray:
        """Return by how much the course turned, clockwise [rad]."""
        return np.asarray(self.course[j] - self.course[i])

    def area_m2(self, i: Places, j: Places) -> FloatArray:
        """Return the area enclosed by rounds and their chords; positive clockwise [m2]."""
        chord = (self.y_m[j] * self.x_m[i] - self.x_m[j] * self.y_m[i]) / 2.0
        return np.asarray(self._area_m2[j] - self._area_m2[i] + chord)

    def is_thin(self, i: Places, j: Places) -> Bools:
        """Return which rounds enclose little for their length."""
        half_m = (self.length_m(i, j) + self.gap_m(i, j)) / 2.0
        return np.asarray(np.abs(self.area_m2(i, j)) < LAP_THIN_FRACTION * half_m**2)

    def is_line(self, i: Places, j: Places) -> Bools:
        """Return which rounds are a there-and-back: thin, and most of them along one axis."""
        cosines, sines = (sums[j] - sums[i] for sums in self._twice)
        along_axis = np.hypot(cosines, sines) > LAP_LINE_SHARE * (j - i)
        return np.asarray(self.is_thin(i, j) & along_axis)

    def swing(self, i: Places, j: Places) -> FloatArray:
        """Return the relative standard deviation of power."""
        count = np.maximum(j - i, 1)
        mean = (self._power[j] - self._power[i]) / count
        square = (self._square[j] - self._square[i]) / count
        return np.asarray(np.sqrt(np.maximum(square - mean**2, 0.0)) / np.maximum(mean, 1e-9))

    def is_known(self, i: Places, j: Places) -> Bools:
        """Return which rounds have but a few unknown seconds."""
        lasts_s = self.lasts_s(i, j)
        return np.asarray(lasts_s - (j - i) <= LAP_UNKNOWN_FRACTION * lasts_s)

    def at_level(self, level_w: float) -> Bools:
        """Return in which seconds power is near a level, shape (n,)."""
        return np.asarray(np.abs(self.brief_w - level_w) <= LAP_LEVEL_FRACTION * level_w)

    def _changes(self) -> Bools:
        reach = SMOOTH_S // 2 + 1
        mean = np.pad(self.smooth_w, reach, mode="edge")
        before, after = mean[: -2 * reach], mean[2 * reach :]
        changed = np.abs(after - before) > LAP_CHANGE_FRACTION * np.maximum(before, after)
        return np.asarray(changed | (self.brief_w < LAP_SLIP_FRACTION * self.smooth_w))

    def end_in(self, place: int, low: int, high: int) -> int:
        """Return the place from `low` to `high` that is nearest to another."""
        ends = np.arange(low, high + 1)
        return low + int(np.argmin(self.gap_m(np.full(len(ends), place), ends)))

    def like_courses(self, places: Places, most_deg: float) -> Bools:
        """Return between which places the course turned once, to within an angle; shape (n, n)."""
        course = self.course[places].astype(np.float32)
        turned = np.abs(course[None, :] - course[:, None])
        turned -= 2.0 * math.pi
        return np.asarray(np.abs(turned, out=turned) <= math.radians(most_deg))


def _summed(values: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(values)])
