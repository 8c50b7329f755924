"""The water current from a turn: at steady power the velocities of a turn lie on a circle.

Its centre is the set and drift, however much speed the turn costs, and without a compass.
"""

import math
from itertools import pairwise

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import (
    CIRCLE_MISFIT_FRACTION,
    CIRCLE_ROUGHNESS_MPS,
    TURN_BACK_SHARE,
    TURN_ENDED_DEG,
    TURN_ENDED_S,
    TURN_FULL_DEG,
    TURN_GAP_MOST_S,
    TURN_LEAST_DEG,
    TURN_LONGEST_S,
    TURN_POWER_FRACTION,
    TURN_SHORTEST_S,
    TURN_SLOWEST_MPS,
)
from onboard.efficiency.sources.settled_seconds import SettledSeconds

TURN_LEAST_RAD = math.radians(TURN_LEAST_DEG)


@dataclass(frozen=True)
class Circle:
    """The centre of a circle of velocities: set and drift, with its covariance."""

    t_s: float
    east_mps: float
    north_mps: float
    covariance: FloatArray


class CircleFinder:
    """Find turns at steady power."""

    def __init__(self) -> None:
        # Time, power, velocity east and north, unwrapped course.
        self._rows = np.empty((0, 5))
        self._course_rad = self._unwrapped_rad = 0.0

    def fold(self, seconds: SettledSeconds) -> list[Circle]:
        """Fold in seconds in order; return the circles of turns that ended in them."""
        east, north = seconds.east_mps, seconds.north_mps
        columns = (seconds.t_s, seconds.power_w, east, north, self._unwrapped(east, north))
        rows = np.stack(columns, axis=1)
        usable = np.isfinite(rows).all(axis=1) & (np.hypot(east, north) > TURN_SLOWEST_MPS)
        # Evaluated every few seconds; unusable seconds restart it.
        ends_here = usable & (seconds.t_s % TURN_ENDED_S == 0)
        changes = np.append(usable[1:] != usable[:-1], True)
        stops = np.flatnonzero(ends_here | changes | np.append(False, changes[:-1])) + 1
        found = []
        for begin, end in pairwise(dict.fromkeys([0, *stops.tolist(), len(rows)])):
            if not usable[end - 1]:
                self._rows = np.empty((0, 5))
                continue
            if len(self._rows) and rows[begin, 0] - self._rows[-1, 0] > TURN_GAP_MOST_S:
                self._rows = np.empty((0, 5))
            self._rows = np.concatenate([self._rows, rows[begin:end]])[-TURN_LONGEST_S:]
            if rows[end - 1, 0] % TURN_ENDED_S == 0 and len(turn := self._turn()):
                self._rows = np.empty((0, 5))
                circle = fit_circle(turn[:, 2:4], float(turn[-1, 0]))
                if circle is not None:
                    found.append(circle)
        return found

    def _unwrapped(self, east_mps: FloatArray, north_mps: FloatArray) -> FloatArray:
        """Return the unwrapped course [rad]; where it is unknown, the last one."""
        course = np.arctan2(east_mps, north_mps)
        known = np.flatnonzero(np.isfinite(course))
        changes = np.zeros(len(course))
        if len(known):
            steps = np.diff(course[known], prepend=self._course_rad)
            changes[known] = np.remainder(steps + np.pi, 2 * np.pi) - np.pi
            self._course_rad = float(course[known[-1]])
        unwrapped: FloatArray = np.cumsum(np.append(self._unwrapped_rad, changes))[1:]
        if len(unwrapped):
            self._unwrapped_rad = float(unwrapped[-1])
        return unwrapped

    def _turn(self) -> FloatArray:
        """Return the seconds of a turn that has just come full circle or ended; else no rows."""
        none = self._rows[:0]
        if len(self._rows) < TURN_SHORTEST_S:
            return none
        course = self._rows[:, 4]
        if course.max() - course.min() < TURN_LEAST_RAD:
            return none
        turned = np.degrees(np.abs(course[-1] - course))
        ended = turned[-1 - TURN_ENDED_S] < TURN_ENDED_DEG
        wanted = TURN_LEAST_DEG if ended else TURN_FULL_DEG
        if turned.max() < wanted:
            return none
        begin, end = int(np.flatnonzero(turned >= wanted)[-1]), len(turned)
        if ended:
            # The turn alone, without the straight before and after it, where the craft is faster.
            begin = int(np.flatnonzero(turned >= turned.max() - TURN_ENDED_DEG)[-1])
            end = int(np.flatnonzero(turned >= TURN_ENDED_DEG)[-1]) + 1
        rows, changes = self._rows[begin:end], np.diff(course[begin:end])
        there = float(np.abs(changes).sum())
        back = (there - abs(float(changes.sum()))) / 2.0
        power = rows[:, 1]
        if back > TURN_BACK_SHARE * there or power.std() > TURN_POWER_FRACTION * power.mean():
            return none
        return rows


def fit_circle(velocity_mps: FloatArray, t_s: float = 0.0) -> Circle | None:
    """Fit a circle to velocities (east, north), shape (n, 2); None if they do not form one.

    Least squares of the algebraic form x^2 + y^2 = 2 a x + 2 b y + c, refined by geometric
    distance.
    """
    x, y = velocity_mps[:, 0], velocity_mps[:, 1]
    rows = np.stack([2 * x, 2 * y, np.ones(len(x))], axis=1)
    solution, _, rank, _ = np.linalg.lstsq(rows, x**2 + y**2, rcond=None)
    if rank < 3:
        return None
    centre = solution[:2]
    covariance = np.eye(2)
    for _ in range(8):
        off = velocity_mps - centre
        distance = np.hypot(off[:, 0], off[:, 1])
        radius = distance.mean()
        if not radius > TURN_SLOWEST_MPS / 2:
            return None
        slopes = np.stack([-off[:, 0] / distance, -off[:, 1] / distance, -np.ones(len(x))], axis=1)
        residual = distance - radius
        normal = np.linalg.inv(slopes.T @ slopes)
        centre = centre - (normal @ slopes.T @ residual)[:2]
        square = max(float(residual @ residual), 1e-12)
        memory = min(max(float(residual[1:] @ residual[:-1]) / square, 0.0), 0.9)
        variance = square / max(len(x) - 3, 1) * (1 + memory) / (1 - memory)
        covariance = normal[:2, :2] * variance + np.eye(2) * CIRCLE_ROUGHNESS_MPS**2 / 2
    if float(residual.std()) > CIRCLE_MISFIT_FRACTION * radius:
        return None
    return Circle(t_s, float(centre[0]), float(centre[1]), covariance)
