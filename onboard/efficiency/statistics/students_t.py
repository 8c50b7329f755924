"""Quantiles of Student's t: for intervals whose standard deviation is itself an estimate."""

import math
from functools import lru_cache

import numpy as np

from onboard.block import FloatArray


def gauss_legendre(count: int) -> tuple[FloatArray, FloatArray]:
    """Return nodes and weights of Gauss-Legendre quadrature over (-1, 1), shape (count,) each.

    The eigenvalues of the polynomials' recurrence (Golub and Welsch, 1969).
    """
    step = np.arange(1.0, count)
    beside = np.diag(step / np.sqrt(4.0 * step**2 - 1.0), 1)
    nodes, vectors = np.linalg.eigh(beside + beside.T)
    return nodes, 2.0 * vectors[0] ** 2


NODES, WEIGHTS = gauss_legendre(64)
STEPS_MOST = 60
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
    quadrature from 0 to a. It falls, so Newton's method rises to the angle from below.

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
        from statistics import NormalDist  # takes longer to load than all the rest

        normal = NormalDist().inv_cdf(share)
        return normal + (normal**3 + normal) / (4.0 * freedom)
    level = math.lgamma((freedom + 1.0) / 2.0) - math.lgamma(freedom / 2.0)
    level = math.exp(level) / math.sqrt(math.pi)
    angle = (share - 0.5) / level
    for _ in range(STEPS_MOST):
        density = np.cos(angle / 2.0 * (NODES + 1.0)) ** (freedom - 1.0)
        above_half = level * angle / 2.0 * float(WEIGHTS @ density)
        step = (share - 0.5 - above_half) / (level * math.cos(angle) ** (freedom - 1.0))
        angle += step
        if step <= 1e-15 * angle:
            break
    return math.sqrt(freedom) * math.tan(angle)
