"""Tail probabilities of Student's t and of F, from the incomplete beta function."""

import math

TINY, TERMS, SETTLED = 1e-150, 300, 1e-15


def t_two_sided(t: float, freedom: float) -> float:
    """Return the two-sided probability of Student's t: that it lies at least this far from zero.

    Parameters
    ----------
    t
        Distance from zero.
    freedom
        Degrees of freedom, above 0; they need not be whole.

    Examples
    --------
    >>> round(t_two_sided(2.776445, 4.0), 6)
    0.05
    """
    return f_survival(t * t, 1.0, freedom)


def f_survival(f: float, over: float, under: float) -> float:
    """Return the survival function of F: the probability that it is at least this large.

    Parameters
    ----------
    f
        Ratio of two variances.
    over, under
        Degrees of freedom of numerator and denominator, above 0.

    Examples
    --------
    >>> round(f_survival(1.18046237440255, 4.0, 20.0), 6)
    0.349447
    """
    if f < 1.0:
        # Near 1 the lower tail keeps its precision, the upper one does not.
        below = over * max(f, 0.0)
        return 1.0 - regularized_beta(over / 2.0, under / 2.0, below / (under + below))
    return regularized_beta(under / 2.0, over / 2.0, under / (under + over * f))


def regularized_beta(a: float, b: float, x: float) -> float:
    """Return the regularised incomplete beta function I_x(a, b), 0 to 1.

    Notes
    -----
    By its continued fraction, on the side of x where that converges faster.
    """
    if x <= 0.0 or x >= 1.0:
        return min(max(x, 0.0), 1.0)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
        + a * math.log(x) + b * math.log1p(-x)
    )  # fmt: skip
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(a, b, x) / a
    return 1.0 - front * _fraction(b, a, 1.0 - x) / b


def _fraction(a: float, b: float, x: float) -> float:
    """Return 1 / (1 + d1 / (1 + d2 / ...)), by Lentz's method."""
    value = upper = TINY
    lower = 0.0
    for n in range(TERMS):
        numerator = 1.0 if n == 0 else _numerator(n, a, b, x)
        lower = 1.0 / _nonzero(1.0 + numerator * lower)
        upper = _nonzero(1.0 + numerator / upper)
        value *= upper * lower
        if n and abs(upper * lower - 1.0) < SETTLED:
            break
    return value


def _numerator(n: int, a: float, b: float, x: float) -> float:
    half = n // 2
    if n % 2:
        return -(a + half) * (a + b + half) * x / ((a + 2 * half) * (a + 2 * half + 1.0))
    return half * (b - half) * x / ((a + 2 * half - 1.0) * (a + 2 * half))


def _nonzero(value: float) -> float:
    return value if abs(value) > TINY else TINY
