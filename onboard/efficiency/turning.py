"""The water current from a circle: at steady power the velocities of a full turn lie on a circle.

Its centre is the set and drift, whatever the turn costs in speed, and without any compass.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.cells import Cells

LONGEST_S = 120
TURN_DEG = 330.0
POWER_FRACTION = 0.15
SLOWEST_MPS = 0.5
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
    """Finds full turns at steady power."""

    def __init__(self) -> None:
        self._rows = np.empty((0, 4))

    def fold(self, cells: Cells) -> list[Circle]:
        """Take in seconds in order; give the circles that closed in them."""
        found = []
        columns = (cells.t_s, cells.power_w, cells.east_mps, cells.north_mps)
        for row in np.stack(columns, axis=1):
            if np.isnan(row).any():
                self._rows = np.empty((0, 4))
                continue
            self._rows = np.concatenate([self._rows[-LONGEST_S + 1 :], row[None]])
            if row[0] % 5 == 0 and (circle := self._closed()) is not None:
                found.append(circle)
                self._rows = np.empty((0, 4))
        return found

    def _closed(self) -> Circle | None:
        if len(self._rows) < 12:
            return None
        course = np.unwrap(np.arctan2(self._rows[:, 2], self._rows[:, 3]))
        turned = np.abs(course[-1] - course)
        if turned.max() < np.radians(TURN_DEG):
            return None
        rows = self._rows[int(np.flatnonzero(turned >= np.radians(TURN_DEG))[-1]) :]
        power, speed = rows[:, 1], np.hypot(rows[:, 2], rows[:, 3])
        if power.std() > POWER_FRACTION * power.mean() or speed.mean() < SLOWEST_MPS:
            return None
        return fit_circle(rows[:, 2:], float(rows[-1, 0]))


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
        memory = min(
            max(float(residual[1:] @ residual[:-1] / max(residual @ residual, 1e-12)), 0), 0.9
        )
        variance = float(residual @ residual) / max(len(x) - 3, 1) * (1 + memory) / (1 - memory)
        covariance = normal[:2, :2] * variance + np.eye(2) * ROUGHNESS_MPS**2 / 2
    return Circle(t_s, float(centre[0]), float(centre[1]), covariance)
