"""Chauvenet's criterion: reject a value if less than half a value that far off is expected."""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.common_practice import REJECTED_MOST_FRACTION

Bools = npt.NDArray[np.bool_]


@lru_cache(maxsize=1024)
def threshold(count: int) -> float:
    """Return the threshold k in standard deviations: count x erfc(k / sqrt 2) = 0.5.

    Examples
    --------
    >>> round(threshold(10), 3)
    1.96
    """
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = (low + high) / 2
        if count * math.erfc(middle / math.sqrt(2.0)) > 0.5:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def inliers(values: FloatArray) -> Bools:
    """Return a mask of the inliers, shape (n,); fewer than 3 values are all inliers."""
    if len(values) < 3:
        return np.ones(len(values), np.bool_)
    off = values - values.sum() / len(values)
    sd = math.sqrt(float(off @ off) / (len(values) - 1))
    return np.asarray(np.abs(off) <= threshold(len(values)) * sd)


def inliers_keeping_most(residual_sd: FloatArray) -> Bools:
    """Return a mask of the inliers among residuals; reject at most a tenth of them.

    Parameters
    ----------
    residual_sd
        Residuals in expected standard deviations, shape (n,); fewer than 5 are all inliers.
    """
    if len(residual_sd) < 5:
        return np.ones(len(residual_sd), np.bool_)
    size = np.abs(residual_sd)
    # The quantile by the straight line between two values, as numpy has it.
    place = (1.0 - REJECTED_MOST_FRACTION) * (len(size) - 1)
    low, high = np.sort(size)[int(place) : int(place) + 2].tolist()
    limit = max(threshold(len(size)), low + (high - low) * (place - int(place)))
    return np.asarray(size <= limit)
