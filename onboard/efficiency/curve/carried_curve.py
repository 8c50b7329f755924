"""A curve of earlier rides, looked at by itself: before the first steady stretch, or for a plan."""

import numpy as np

from onboard.efficiency.common_practice import (
    BLOCK_SPEED_SD_MPS,
)
from onboard.efficiency.curve.speed_power import KNOTS, SLOPE_SD, Carried, Posterior, start_curve


def of_carried(carried: Carried) -> Posterior:
    """Return what a carried curve alone tells: no water, and less beyond the speeds it has seen."""
    count = len(KNOTS)
    known = slice(carried.first_knot, carried.first_knot + len(carried.ln_speed))
    ends = KNOTS[known][[0, -1]]
    beyond = np.abs(KNOTS - np.clip(KNOTS, *ends))
    curve = np.diag((SLOPE_SD * beyond) ** 2 + float(np.diag(carried.covariance).max()))
    curve[known, known] = carried.covariance
    covariance = np.zeros((2 + count, 2 + count))
    covariance[2:, 2:] = curve
    start = start_curve(carried)
    return Posterior(np.zeros(2), start, covariance, carried.seen_mps, 0, BLOCK_SPEED_SD_MPS, 0.0)
