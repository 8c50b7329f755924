"""What is known of water and curve besides the blocks, as normal equations.

A pair of normal matrix N and right-hand side r stands for the quadratic cost x' N x - 2 r' x.
"""

from functools import cache

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.curve.speed_power import (
    KNOTS,
    LEVEL_LN_MPS,
    LEVEL_SD,
    LEVEL_W,
    SLOPE,
    SPACING,
    Carried,
    Shape,
    knot_weights,
)
from onboard.efficiency.curve.turning import Circle
from onboard.efficiency.curve.water_walk import WaterKnots

Equations = tuple[FloatArray, FloatArray]


def water_known(knots: WaterKnots, water_sd_mps: float, circles: list[Circle]) -> Equations:
    """Return what is known of the water, east at its knots and then north, shape (2 k, 2 k)."""
    normal = np.asarray(np.kron(np.eye(2), knots.prior(water_sd_mps)), np.float64)
    right = np.zeros(2 * knots.count)
    for circle in circles:
        rows = np.kron(np.eye(2), knots.weights(np.array([circle.t_s])))
        known = circle.covariance + np.eye(2) * knots.between_m2ps2
        precision = rows.T @ np.linalg.inv(known)
        normal += precision @ rows
        right += precision @ np.array([circle.east_mps, circle.north_mps])
    return normal, right


class TouchedKnots:
    """The knots of the curve that blocks touch; the others set aside.

    Only the priors tie the others to these, so they are eliminated (a Schur complement): the
    solution is that of all knots, at a fraction of the cost.

    Parameters
    ----------
    normal, right
        What is known of the curve at all `KNOTS`.
    touched
        The knots that remain unknowns.
    """

    def __init__(self, normal: FloatArray, right: FloatArray, touched: slice) -> None:
        others = np.r_[0 : touched.start, touched.stop : len(KNOTS)]
        self._others, self._touched = others, touched
        self._covariance = np.linalg.inv(normal[np.ix_(others, others)])
        ties = normal[touched, others]
        by_touched = -self._covariance @ ties.T
        self._offset = self._covariance @ right[others]
        self.normal = normal[touched, touched] + ties @ by_touched
        self.right = right[touched] - ties @ self._offset
        self.spread = np.zeros((len(KNOTS), len(self.right)))
        """Derivatives of all knots by the touched ones."""
        self.spread[others] = by_touched
        self.spread[touched] = np.eye(len(self.right))

    def curve(self, touched: FloatArray) -> FloatArray:
        """Return the curve at all `KNOTS`, given that at the touched ones."""
        curve = np.asarray(self.spread @ touched, np.float64)
        curve[self._others] += self._offset
        return curve

    def covariance(self, touched: FloatArray) -> FloatArray:
        """Return the covariance of the curve at all `KNOTS`, given that of the touched ones."""
        whole = np.asarray(self.spread @ touched @ self.spread.T, np.float64)
        whole[np.ix_(self._others, self._others)] += self._covariance
        return whole


def curve_known(shape: Shape, carried: Carried | None, touched: slice) -> TouchedKnots:
    """Return what is known of the curve: its shape, its level, and a curve of earlier rides."""
    if carried is None:
        return _usual(shape, touched.start, touched.stop)
    normal, right = (part.copy() for part in _curve_prior(shape))
    precision = np.linalg.inv(carried.covariance)
    place = slice(carried.first_knot, carried.first_knot + len(carried.ln_speed))
    normal[place, place] += precision
    right[place] += precision @ carried.ln_speed
    return TouchedKnots(normal, right, touched)


@cache
def _usual(shape: Shape, begin: int, end: int) -> TouchedKnots:
    return TouchedKnots(*_curve_prior(shape), slice(begin, end))


@cache
def _curve_prior(shape: Shape) -> Equations:
    count = len(KNOTS)
    bend = np.diff(np.eye(count), 2, axis=0)
    rise = np.diff(np.eye(count), axis=0)
    normal = bend.T @ bend / (shape.slope_walk * SPACING**3)
    # Per unit of ln P, so that the spacing of the knots does not matter.
    weight = 1.0 / shape.slope_sd**2 / SPACING
    normal += weight * rise.T @ rise
    middle = knot_weights(np.array([np.log(LEVEL_W)]))[0]
    normal += np.outer(middle, middle) / LEVEL_SD**2
    right = weight * SLOPE * SPACING * rise.sum(axis=0) + middle * LEVEL_LN_MPS / LEVEL_SD**2
    return normal, right
