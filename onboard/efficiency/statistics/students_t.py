"""Quantiles of Student's t: for intervals whose standard deviation is itself an estimate."""

import math
from functools import lru_cache
from statistics import NormalDist

import numpy as np

NODES, WEIGHTS = np.polynomial.legendre.leggauss(64)
LIKE_NORMAL = 1e4
"""Degrees of freedom above which the first term of the expansion about the normal suffices."""


@lru_cache(maxsize=1024)
def quantile(freedom: float, share: float = 0.975) -> float:
    """Return the quantile of Student's t.

    Parameters
    ----------
    freedom
        Degrees of freedom, 1 or more; they need not be whole.
    share
        Probability of a smaller value, above 0 and below 1.

    Raises
    ------
    ValueError
        If either is outside its range.

    Notes
    -----
    With t = sqrt(f) tan(a) the density becomes cos(a)^(f-1), smooth enough for Gauss-Legendre
    quadrature from 0 to a; the angle is found by bisection.

    Examples
    --------
    >>> round(quantile(4.0), 6)
    2.776445
    """
    if not (freedom >= 1.0 and 0.0 < share < 1.0):
        raise ValueError(f"no quantile of Student's t at {share} with {freedom} degrees of freedom")
    if share < 0.5:
        return -quantile(freedom, 1.0 - share)
    if freedom >= LIKE_NORMAL:
        normal = NormalDist().inv_cdf(share)
        return normal + (normal**3 + normal) / (4.0 * freedom)
    level = math.lgamma((freedom + 1.0) / 2.0) - math.lgamma(freedom / 2.0)
    level = math.exp(level) / math.sqrt(math.pi)
    low, high = 0.0, math.pi / 2.0
    for _ in range(56):
        middle = (low + high) / 2.0
        angles = middle / 2.0 * (NODES + 1.0)
        above_half = level * middle / 2.0 * float(WEIGHTS @ np.cos(angles) ** (freedom - 1.0))
        if above_half < share - 0.5:
            low = middle
        else:
            high = middle
    return math.sqrt(freedom) * math.tan((low + high) / 2.0)
