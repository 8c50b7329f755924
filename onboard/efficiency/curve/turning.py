"""The water current from a turn: at steady power the velocities of a turn lie on a circle.

Its centre is the set and drift, whatever the turn costs in speed, and without any compass.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.sources.settled_seconds import SettledSeconds

LONGEST_S = 120
FULL_DEG, LEAST_DEG = 345.0, 240.0
"""A turn is taken when it is full, or when it ends after this much."""

ENDED_S, ENDED_DEG = 5, 8.0
LONGEST_GAP_S = 2.0
FEWEST_S = 12
BACK_FRACTION = 0.15
"""The share of its changes of course that may go the other way: at rest, noise alone turns the
course about."""

POWER_FRACTION = 0.15
SLOWEST_MPS = 0.5
OFF_FRACTION = 0.15
"""Velocities that are off by more than this share of the radius are no circle."""

ROUGHNESS_MPS = 0.03
"""How far a mean velocity of a turn may be from the circle for reasons that noise does not show."""


@dataclass(frozen=True)
class Circle:
    """The centre of a circle of velocities: set and drift, with its covariance."""

    t_s: float
    east_mps: float
    north_mps: float
    covariance: FloatArray


class CircleFinder:
    """Finds turns at steady power."""

    def __init__(self) -> None:
        # Time, power, velocity east and north, course counted on without a jump.
        self._rows = np.empty((0, 5))
        self._course_rad = self._counted_rad = 0.0

    def fold(self, seconds: SettledSeconds) -> list[Circle]:
        """Take in seconds in order; give the circles of turns that ended in them."""
        east, north = seconds.east_mps, seconds.north_mps
        columns = (seconds.t_s, seconds.power_w, east, north, self._counted_on(east, north))
        rows = np.stack(columns, axis=1)
        usable = np.isfinite(rows).all(axis=1) & (np.hypot(east, north) > SLOWEST_MPS)
        # It is looked at every few seconds; what cannot be used begins anew.
        looked_at = usable & (seconds.t_s % ENDED_S == 0)
        changes = np.append(usable[1:] != usable[:-1], True)
        stops = np.flatnonzero(looked_at | changes | np.append(False, changes[:-1])) + 1
        found = []
        for begin, end in pairwise(dict.fromkeys([0, *stops.tolist(), len(rows)])):
            if not usable[end - 1]:
                self._rows = np.empty((0, 5))
                continue
            if len(self._rows) and rows[begin, 0] - self._rows[-1, 0] > LONGEST_GAP_S:
                self._rows = np.empty((0, 5))
            self._rows = np.concatenate([self._rows, rows[begin:end]])[-LONGEST_S:]
            if rows[end - 1, 0] % ENDED_S == 0 and len(turn := self._turn()):
                self._rows = np.empty((0, 5))
                circle = fit_circle(turn[:, 2:4], float(turn[-1, 0]))
                if circle is not None:
                    found.append(circle)
        return found

    def _counted_on(self, east_mps: FloatArray, north_mps: FloatArray) -> FloatArray:
        """Return the course as turned so far [rad]; where it is not known, as before."""
        course = np.arctan2(east_mps, north_mps)
        known = np.flatnonzero(np.isfinite(course))
        changes = np.zeros(len(course))
        if len(known):
            steps = np.diff(course[known], prepend=self._course_rad)
            changes[known] = np.remainder(steps + np.pi, 2 * np.pi) - np.pi
            self._course_rad = float(course[known[-1]])
        counted: FloatArray = np.cumsum(np.append(self._counted_rad, changes))[1:]
        if len(counted):
            self._counted_rad = float(counted[-1])
        return counted

    def _turn(self) -> FloatArray:
        """Return the seconds of the turn that has just become full or ended; none without."""
        none = self._rows[:0]
        if len(self._rows) < FEWEST_S:
            return none
        course = self._rows[:, 4]
        if np.degrees(np.ptp(course)) < LEAST_DEG:
            return none
        turned = np.degrees(np.abs(course[-1] - course))
        ended = turned[-1 - ENDED_S] < ENDED_DEG
        wanted = LEAST_DEG if ended else FULL_DEG
        if turned.max() < wanted:
            return none
        begin, end = int(np.flatnonzero(turned >= wanted)[-1]), len(turned)
        if ended:
            # All of what was turned, without the straight way before and behind, where the craft
            # is faster.
            begin = int(np.flatnonzero(turned >= turned.max() - ENDED_DEG)[-1])
            end = int(np.flatnonzero(turned >= ENDED_DEG)[-1]) + 1
        rows, changes = self._rows[begin:end], np.diff(course[begin:end])
        there = float(np.abs(changes).sum())
        back = (there - abs(float(changes.sum()))) / 2.0
        power = rows[:, 1]
        if back > BACK_FRACTION * there or power.std() > POWER_FRACTION * power.mean():
            return none
        return rows


def fit_circle(velocity_mps: FloatArray, t_s: float = 0.0) -> Circle | None:
    """Fit a circle to velocities (east, north), shape (n, 2); None where there is none.

    Least squares of the algebraic form x^2 + y^2 = 2 a x + 2 b y + c, refined by the distances.
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
        if not radius > SLOWEST_MPS / 2:
            return None
        slopes = np.stack([-off[:, 0] / distance, -off[:, 1] / distance, -np.ones(len(x))], axis=1)
        residual = distance - radius
        normal = np.linalg.inv(slopes.T @ slopes)
        centre = centre - (normal @ slopes.T @ residual)[:2]
        square = max(float(residual @ residual), 1e-12)
        memory = min(max(float(residual[1:] @ residual[:-1]) / square, 0.0), 0.9)
        variance = square / max(len(x) - 3, 1) * (1 + memory) / (1 - memory)
        covariance = normal[:2, :2] * variance + np.eye(2) * ROUGHNESS_MPS**2 / 2
    if float(residual.std()) > OFF_FRACTION * radius:
        return None
    return Circle(t_s, float(centre[0]), float(centre[1]), covariance)
