"""The ranking of set-ups: a linear model of the double runs.

One level per set-up and, where the order or the data require it, a drift with time:
ln(speed at equal power) = level + drift x time + error.
"""

import math

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.statistics.probability import f_survival, t_two_sided
from onboard.efficiency.trial.least_squares import LeastSquares
from onboard.efficiency.trial.trial_practice import (
    DRIFT_IN_BLOCKS_SIGNIFICANCE,
    DRIFT_TERM_SIGNIFICANCE,
    ORDER_BALANCED_MOST,
    STEP_SHARE_MOST,
    UNEQUAL_SCATTER_SIGNIFICANCE,
)

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Sample:
    """The observations; arrays of shape (n,), one entry per double run.

    Parameters
    ----------
    value
        ln of its speed.
    setup
        Index of its set-up.
    outing
        Index of its outing.
    t_s
        Time on the clock of its outing [s].
    """

    value: FloatArray
    setup: FloatArray
    outing: FloatArray
    t_s: FloatArray


@dataclass(frozen=True)
class Levels:
    """The fit.

    Parameters
    ----------
    level
        Level of each set-up, at mid-time and for the mean of the outings that connect it to others,
        shape (setups,).
    weights
        Matrix that maps values to levels, shape (setups, n).
    inverse
        (X' X) inverse of the levels, shape (setups, setups).
    sd
        Standard deviation of one value about the model.
    freedom
        Degrees of freedom behind it; 0 with none.
    drift_per_h, drift_p_value
        Drift of the values, and its p-value; NaN with too few values.
    with_drift
        Whether the drift is in the model.
    own_variance
        Variance of each set-up's values if too unequal to be pooled; else None.
    counts
        Double runs of each set-up.
    residual, leverage
        Of each value, shape (n,).
    group
        Group of each set-up: set-ups connected by common outings share one, shape (setups,).
    sample
        The observations fitted.
    steady_weights
        `weights` of the model without a drift.
    """

    level: FloatArray
    weights: FloatArray
    inverse: FloatArray
    sd: float
    freedom: int
    drift_per_h: float
    drift_p_value: float
    with_drift: bool
    own_variance: FloatArray | None
    counts: FloatArray
    residual: FloatArray
    leverage: FloatArray
    group: Ints
    sample: Sample
    steady_weights: FloatArray

    def step_share(self, contrast: FloatArray) -> float:
        """Return how much of a step between two runs would pass for a contrast of levels.

        That is the share of the worst step in each outing, as the root of their sum of squares: 1
        if all of one set-up came before all of another, a quarter for A B B A twice.
        """
        return _step_share(self.sample, contrast @ self.steady_weights)

    def is_estimable(self, contrast: FloatArray) -> bool:
        """Return whether a contrast is estimable within outings."""
        return len(np.unique(self.group[contrast != 0.0])) <= 1

    def variance(self, contrast: FloatArray) -> tuple[float, float]:
        """Return the variance of a contrast of levels and its degrees of freedom.

        With unequal scatter these are Welch's and Satterthwaite's.
        """
        if self.own_variance is None:
            return self.sd**2 * float(contrast @ self.inverse @ contrast), float(self.freedom)
        parts = contrast**2 * self.own_variance / self.counts
        known = parts > 0
        freedom = parts[known].sum() ** 2 / (parts[known] ** 2 / (self.counts[known] - 1)).sum()
        return float(parts.sum()), float(freedom)


def levels(sample: Sample) -> Levels:
    """Fit the levels.

    Parameters
    ----------
    sample
        At least one value for each set-up, and set-ups numbered from 0.
    """
    setups = int(sample.setup.max()) + 1
    indicators = (sample.setup[:, None] == np.arange(setups)).astype(np.float64)
    outings = np.unique(sample.outing)
    group = _groups(sample, setups)
    time = _hours(sample)
    plain = np.concatenate([indicators, _outing_columns(sample, group[sample.setup])], axis=1)
    drifting = np.concatenate([plain, time[:, None]], axis=1)
    without, within = LeastSquares(plain, sample.value), LeastSquares(drifting, sample.value)
    can_drift = within.rank > without.rank and within.freedom > 0
    p_value = drift = float("nan")
    if can_drift and within.squares > 0:
        ratio = max(without.squares - within.squares, 0.0) / (within.squares / within.freedom)
        p_value, drift = f_survival(ratio, 1.0, within.freedom), float(within.solution[-1])
    level = _drift_level(sample, without, within, setups)
    with_drift = can_drift and (level == 1.0 or p_value < level)
    chosen = within if with_drift else without
    counts = indicators.sum(axis=0)
    unequal = not with_drift and len(outings) == 1 and _unequal(sample, counts)
    return Levels(
        chosen.solution[:setups],
        chosen.weights[:setups],
        chosen.inverse[:setups, :setups],
        chosen.sd,
        max(chosen.freedom, 0),
        drift,
        p_value,
        with_drift,
        _variances(sample, len(counts)) if unequal else None,
        counts,
        chosen.residual,
        chosen.leverage,
        group,
        sample,
        without.weights[:setups],
    )


def adjusted(p_values: FloatArray) -> FloatArray:
    """Return p-values corrected for simultaneous comparisons, by Holm's method.

    Parameters
    ----------
    p_values
        p-value of each comparison alone, shape (n,).

    Examples
    --------
    >>> adjusted(np.array([0.01, 0.04, 0.03])).round(3).tolist()
    [0.03, 0.06, 0.06]
    """
    order = np.argsort(p_values)
    steps = p_values[order] * np.arange(len(p_values), 0, -1)
    result = np.empty_like(p_values)
    result[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return result


def p_value_of(difference: float, variance: float, freedom: float) -> float:
    """Return the p-value: the probability that equal set-ups differ at least as much."""
    if variance <= 0.0:
        return 1.0 if difference == 0.0 else 0.0
    return t_two_sided(difference / variance**0.5, freedom)


def run_in_sequence(sample: Sample, a: int, b: int) -> bool:
    """Return whether all of one set-up came before all of the other, in every outing of both."""
    found = False
    for outing in np.unique(sample.outing):
        here = sample.outing == outing
        first = sample.t_s[here & (sample.setup == a)]
        second = sample.t_s[here & (sample.setup == b)]
        if len(first) and len(second):
            if not (first.max() < second.min() or second.max() < first.min()):
                return False
            found = True
    return found


def _step_share(sample: Sample, row: FloatArray) -> float:
    total = 0.0
    for outing in np.unique(sample.outing):
        here = np.flatnonzero(sample.outing == outing)
        here = here[np.argsort(sample.t_s[here], kind="stable")]
        after = np.cumsum(row[here][::-1])
        total += float(np.abs(after).max()) ** 2
    return math.sqrt(total)


def _groups(sample: Sample, setups: int) -> Ints:
    """Return the group number of each set-up, shape (setups,): see `Levels`."""
    group: Ints = np.arange(setups, dtype=np.int64)
    for outing in np.unique(sample.outing):
        tied = np.unique(group[sample.setup[sample.outing == outing]])
        group[np.isin(group, tied)] = tied[0]
    return group


def _outing_columns(sample: Sample, group: Ints) -> FloatArray:
    """Return the block effects (water, wind, load) of each outing, centred within its group.

    So set-ups are compared only within outings, and a level refers to the mean outing.
    """
    columns = [np.empty((len(sample.value), 0))]
    for number in np.unique(group):
        here = (group == number)[:, None]
        days = here & (sample.outing[:, None] == np.unique(sample.outing[here[:, 0]])[1:])
        columns.append(np.where(here, days - days[here[:, 0]].mean(axis=0), 0.0))
    return np.concatenate(columns, axis=1)


def _hours(sample: Sample) -> FloatArray:
    """Return the time of each value about the mean of its outing [h]."""
    time = np.empty(len(sample.t_s))
    for outing in np.unique(sample.outing):
        here = sample.outing == outing
        time[here] = (sample.t_s[here] - sample.t_s[here].mean()) / 3600.0
    return time


def _drift_level(sample: Sample, without: LeastSquares, within: LeastSquares, setups: int) -> float:
    """Return the p-value below which a drift enters the model; 1 for always.

    Always if it would inflate some difference's variance. Where set-ups were run one after the
    other, a step is allowed for, and drift and difference are hard to tell apart: there it must
    show within the set-ups.
    """
    level = DRIFT_TERM_SIGNIFICANCE
    for a in range(setups):
        for b in range(a):
            contrast = np.zeros(len(without.solution))
            contrast[a], contrast[b] = 1.0, -1.0
            if _step_share(sample, contrast @ without.weights) > STEP_SHARE_MOST:
                level = max(level, DRIFT_IN_BLOCKS_SIGNIFICANCE)
                continue
            before = float(contrast @ without.inverse @ contrast)
            longer = np.append(contrast, 0.0)
            if float(longer @ within.inverse @ longer) > ORDER_BALANCED_MOST * before:
                return 1.0
    return level


def _variances(sample: Sample, setups: int) -> FloatArray:
    return np.array([sample.value[sample.setup == n].var(ddof=1) for n in range(setups)])


def _unequal(sample: Sample, counts: FloatArray) -> bool:
    if counts.min() < 2 or len(counts) < 2:
        return False
    variances = _variances(sample, len(counts))
    high, low = int(np.argmax(variances)), int(np.argmin(variances))
    pairs = len(counts) * (len(counts) - 1)
    ratio = variances[high] / max(float(variances[low]), 1e-18)
    return bool(
        f_survival(ratio, counts[high] - 1, counts[low] - 1) * pairs < UNEQUAL_SCATTER_SIGNIFICANCE
    )
