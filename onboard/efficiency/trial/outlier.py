"""Outliers among double runs: weed on the propeller, a wake, a steering error.

A residual is studentised by the scatter of the others, combined with the usual scatter while they
are few. Chauvenet's criterion would reject a sound double run on every second or third day.
"""

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.statistics.probability import f_survival
from onboard.efficiency.trial.trial_practice import (
    OUTLIER_DOUBLE_RUNS_LEAST,
    OUTLIER_SIGNIFICANCE,
    REPEATABILITY_WORTH,
)

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Scatter:
    """Residuals of the double runs in one fit.

    Parameters
    ----------
    residual, leverage
        Of a least-squares fit, shape (n,).
    freedom
        Its degrees of freedom.
    usual
        Usual standard deviation, in the unit of the residuals.
    """

    residual: FloatArray
    leverage: FloatArray
    freedom: float
    usual: float


def outlier(scatters: list[Scatter], may_be: Bools | None = None) -> int | None:
    """Return the index of the double run that is an outlier; None without.

    Parameters
    ----------
    scatters
        Residuals of the same double runs in one or more independent fits.
    may_be
        Which of them may be one, shape (n,), as of two laps of a set-up either could be; None for
        all.
    """
    usable = [scatter for scatter in scatters if scatter.freedom >= 2]
    if not usable or len(usable[0].residual) < OUTLIER_DOUBLE_RUNS_LEAST:
        return None
    squares = np.sum([_studentised(scatter) ** 2 for scatter in usable], axis=0)
    if may_be is not None:
        squares = np.where(may_be, squares, 0.0)
    worst = int(np.argmax(squares))
    freedom = sum(scatter.freedom - 1 + REPEATABILITY_WORTH for scatter in usable)
    p_value = f_survival(float(squares[worst]) / len(usable), len(usable), freedom)
    return worst if p_value * len(squares) < OUTLIER_SIGNIFICANCE else None


def _studentised(scatter: Scatter) -> FloatArray:
    """Return each residual in standard deviations of the others, shape (n,)."""
    left = np.maximum(1.0 - scatter.leverage, 1e-9)
    squares = scatter.residual**2 / left
    others = np.maximum(float(scatter.residual @ scatter.residual) - squares, 0.0)
    variance = (others + REPEATABILITY_WORTH * scatter.usual**2) / (
        scatter.freedom - 1 + REPEATABILITY_WORTH
    )
    # Where all scatter widely, the usual scatter does not apply.
    variance = np.maximum(variance, others / (scatter.freedom - 1))
    return np.asarray(
        np.where(scatter.leverage < 1.0 - 1e-6, np.sqrt(squares / variance), 0.0), np.float64
    )
