"""Chauvenet's criterion: a value is an outlier if fewer than half a one as far off are expected."""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray

Bools = npt.NDArray[np.bool_]

REJECTED_MOST_FRACTION = 0.1


@lru_cache(maxsize=1024)
def threshold(count: int) -> float:
    """Return k with count x erfc(k / sqrt 2) = 0.5: how many standard deviations are kept.

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


def kept(values: FloatArray) -> Bools:
    """Tell which values are no outliers among their like, shape (n,); fewer than 3 are all kept."""
    if len(values) < 3:
        return np.ones(len(values), np.bool_)
    sd = float(values.std(ddof=1))
    inside: Bools = np.abs(values - values.mean()) <= threshold(len(values)) * sd
    return inside


def kept_but_for_few(residual_sd: FloatArray) -> Bools:
    """Tell which residuals are no outliers, as multiples of what is expected; never reject many."""
    if len(residual_sd) < 5:
        return np.ones(len(residual_sd), np.bool_)
    size = np.abs(residual_sd)
    limit = max(threshold(len(size)), float(np.quantile(size, 1 - REJECTED_MOST_FRACTION)))
    inside: Bools = size <= limit
    return inside
