"""Probabilities of Student's t and of F, by the incomplete beta function."""

import math

TINY, TERMS, SETTLED = 1e-150, 300, 1e-15


def t_outside(t: float, freedom: float) -> float:
    """Return the probability that Student's t lies at least as far from zero.

    Parameters
    ----------
    t
        How far.
    freedom
        Degrees of freedom, above 0; they need not be whole.

    Examples
    --------
    >>> round(t_outside(2.776445, 4.0), 6)
    0.05
    """
    return f_above(t * t, 1.0, freedom)


def f_above(f: float, over: float, under: float) -> float:
    """Return the probability that F is at least as large.

    Parameters
    ----------
    f
        Ratio of two variances.
    over, under
        Degrees of freedom of both, above 0.

    Examples
    --------
    >>> round(f_above(1.18046237440255, 4.0, 20.0), 6)
    0.349447
    """
    if f < 1.0:
        # Near 1 the share below keeps its digits, the one above does not.
        below = over * max(f, 0.0)
        return 1.0 - beta_share(over / 2.0, under / 2.0, below / (under + below))
    return beta_share(under / 2.0, over / 2.0, under / (under + over * f))


def beta_share(a: float, b: float, x: float) -> float:
    """Return the regularised incomplete beta function I_x(a, b), 0 to 1.

    Notes
    -----
    Its continued fraction, evaluated from the front; on the side on which it is the quicker.
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
    """Return 1 / (1 + d1 / (1 + d2 / ...)), by Lentz's way."""
    value = upper = TINY
    lower = 0.0
    for n in range(TERMS):
        part = 1.0 if n == 0 else _part(n, a, b, x)
        lower = 1.0 / _away(1.0 + part * lower)
        upper = _away(1.0 + part / upper)
        value *= upper * lower
        if n and abs(upper * lower - 1.0) < SETTLED:
            break
    return value


def _part(n: int, a: float, b: float, x: float) -> float:
    half = n // 2
    if n % 2:
        return -(a + half) * (a + b + half) * x / ((a + 2 * half) * (a + 2 * half + 1.0))
    return half * (b - half) * x / ((a + 2 * half - 1.0) * (a + 2 * half))


def _away(value: float) -> float:
    return value if abs(value) > TINY else TINY
