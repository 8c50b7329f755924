"""A double run that is none of its kind: weed on the propeller, a wake, a slip of the hand.

How far a value is off is measured by the scatter of the others, helped out by what is usual while
they are few. Chauvenet's criterion would take out a sound one on every second or third day.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.statistics.probability import f_survival

USUAL_FRACTION, USUAL_LEG_FRACTION, WORTH = 0.012, 0.015, 4.0
"""A double run of a small craft repeats to about 1.2 %, a leg to 1.5 %, and how many degrees of
freedom such a guess is worth. Common practice, no source."""

SURE = 0.01
"""So rarely is one of all taken for an outlier by chance."""

ENOUGH = 4
"""Among fewer none is an outlier: which of two that differ should it be?"""


@dataclass(frozen=True)
class Scatter:
    """How far double runs are off in one respect.

    Parameters
    ----------
    residual, leverage
        Of a least-squares fit, shape (n,).
    freedom
        Its degrees of freedom.
    usual
        Standard deviation that is usual, in the unit of the residuals.
    """

    residual: FloatArray
    leverage: FloatArray
    freedom: int
    usual: float


def outlier(scatters: list[Scatter]) -> int | None:
    """Return the number of the one double run that is an outlier; None without.

    Parameters
    ----------
    scatters
        One or more independent respects in which each of the same double runs may be off.
    """
    told = [one for one in scatters if one.freedom >= 2]
    if not told or len(told[0].residual) < ENOUGH:
        return None
    squares = np.sum([_off(one) ** 2 for one in told], axis=0)
    worst = int(np.argmax(squares))
    freedom = sum(one.freedom - 1 + WORTH for one in told)
    chance = f_survival(float(squares[worst]) / len(told), len(told), freedom)
    return worst if chance * len(squares) < SURE else None


def _off(one: Scatter) -> FloatArray:
    """Return by how many standard deviations of the others each is off, shape (n,)."""
    left = np.maximum(1.0 - one.leverage, 1e-9)
    squares = one.residual**2 / left
    others = np.maximum(float(one.residual @ one.residual) - squares, 0.0)
    variance = (others + WORTH * one.usual**2) / (one.freedom - 1 + WORTH)
    # Where all scatter widely, what is usual says nothing.
    variance = np.maximum(variance, others / (one.freedom - 1))
    off: FloatArray = np.where(one.leverage < 1.0 - 1e-6, np.sqrt(squares / variance), 0.0)
    return off
