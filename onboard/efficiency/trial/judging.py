"""Figures and verdicts of a comparison, and the runs that a verdict needs."""

import math
from itertools import combinations

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.common_practice import (
    SETUP_SYSTEMATIC_SD_FRACTION,
    VERDICT_SIGNIFICANCE,
    WANTED_FRACTION,
    WANTED_POWER,
)
from onboard.efficiency.statistics.students_t import quantile
from onboard.efficiency.trial.cautions import ENOUGH_DOUBLE_RUNS, drift_suspected
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.ranking import adjusted, p_value_of
from onboard.efficiency.trial.results import Evidence, PairResult, SetupResult

DOUBLE_RUNS_MOST = 200
"""Largest number of double runs of each set-up worth planning."""


class Judge:
    """Figures and verdicts of one fit.

    Parameters
    ----------
    evidence
        The evidence behind the comparison.
    power_w, slope
        The power compared at, and the curve's slope there.
    """

    def __init__(self, evidence: Evidence, power_w: float, slope: CurveSlope) -> None:
        self._evidence, self._names, self._counts = evidence, evidence.names, evidence.counts
        self._power_w, self._slope = power_w, slope
        self._floor = _own_variance(evidence)
        logs = [
            sum(w * math.log(power_w / evidence.legs[n].power_w) for n, w in double.parts)
            for double in evidence.doubles
        ]
        self._short = np.array(logs)
        """Distance of each double run from the power compared at, in ln P."""

    def _spread(self, contrast: FloatArray) -> tuple[float, float]:
        """Return variance and degrees of freedom of a contrast of levels.

        Only the scatter is itself estimated from few values. Satterthwaite's rule would square the
        ratio below; with one to three degrees of freedom its intervals then cover 87 to 94 %
        (simulated), as a scatter that is small by chance also makes the other variance seem
        dominant. With the ratio unsquared, they cover 94 to 96 % from two on, 91 % with one.
        """
        fit, evidence = self._evidence.levels, self._evidence
        scatter, freedom = fit.variance(contrast)
        floor = self._floor * float(contrast @ fit.inverse @ contrast)
        row = contrast @ fit.weights
        by_water = row / evidence.speed_mps
        other_variance = float(by_water @ evidence.water.covariance @ by_water)
        other_variance += (float(row @ self._short) * self._slope.sd) ** 2
        other_variance += SETUP_SYSTEMATIC_SD_FRACTION**2 * float(contrast @ contrast) / 2.0
        scatter = max(scatter, floor)
        total = scatter + other_variance
        return total, freedom * (total / scatter) if scatter > 0 else freedom

    def setup(self, n: int, sensors_sd_fraction: float) -> SetupResult:
        """Return a set-up's figures."""
        contrast = np.eye(len(self._names))[n]
        name, level = self._names[n], float(self._evidence.levels.level[n])
        mine = np.array([double.setup == name for double in self._evidence.doubles])
        short = float(self._short[mine].mean())
        speed: Estimate = Unknown(Reason.ONE_DOUBLE_RUN)
        cost: Estimate = speed
        if self._evidence.levels.freedom > 0:
            variance, freedom = self._spread(contrast)
            speed = _figure(level, variance, freedom)
            cost = _figure(
                math.log(self._power_w / 3.6) - level,
                variance + sensors_sd_fraction**2,
                freedom * (1.0 + sensors_sd_fraction**2 / max(variance, 1e-12)),
            )
        return SetupResult(
            name,
            self._power_w,
            self._power_w * math.exp(-short),
            math.exp(short * self._slope.value) - 1.0,
            speed,
            cost,
            self._counts[n],
            0,
            sum(len(double.legs) for double in self._evidence.doubles if double.setup == name),
        )

    def pairs(self) -> tuple[PairResult, ...]:
        """Compare every two set-ups, corrected for the number of comparisons."""
        found = [self._pair(a, b) for a, b in combinations(range(len(self._names)), 2)]
        known = [pair for pair in found if pair.chance is not None]
        if not known:
            return tuple(found)
        chances = iter(adjusted(np.array([pair.chance for pair in known])).tolist())
        return tuple(
            pair if pair.chance is None else self._with_verdict(pair, next(chances))
            for pair in found
        )

    def _pair(self, a: int, b: int) -> PairResult:
        names = self._names[a], self._names[b]
        fit = self._evidence.levels
        contrast = np.zeros(len(self._names))
        contrast[a], contrast[b] = -1.0, 1.0
        if not fit.is_estimable(contrast):
            return _undecided(names, Unknown(Reason.NEVER_TOGETHER))
        if fit.freedom == 0:
            return _undecided(names, Unknown(Reason.ONE_EACH))
        difference = float(contrast @ fit.level)
        variance, freedom = self._spread(contrast)
        reach = quantile(max(freedom, 1.0)) * math.sqrt(variance)
        ends = [math.expm1(difference + sign * reach) for sign in (0.0, -1.0, 1.0)]
        chance = p_value_of(difference, variance, freedom)
        return PairResult(*names, Figure(*ends), "cannot_tell", None, chance, freedom)

    def _with_verdict(self, pair: PairResult, chance: float) -> PairResult:
        a, b = self._names.index(pair.a), self._names.index(pair.b)
        figure = pair.difference_fraction
        why_not = self._why_not(a, b)
        verdict = "cannot_tell"
        if not why_not and chance < VERDICT_SIGNIFICANCE and isinstance(figure, Figure):
            verdict = "a_better" if figure.value < 0 else "b_better"
        elif not why_not and (pair.chance or 0.0) < VERDICT_SIGNIFICANCE:
            why_not = Unknown(Reason.BY_CHANCE)
        needed = None
        if verdict == "cannot_tell" and not drift_suspected(self._evidence, a, b):
            needed = self._needed(a, b)
            if needed == 0 and isinstance(figure, Figure) and _half_width(figure) > WANTED_FRACTION:
                # Order effects, or few runs that agree by chance, add to the doubt of the scatter.
                needed = 2
        return PairResult(pair.a, pair.b, figure, verdict, needed, chance, pair.freedom, why_not)

    def _why_not(self, a: int, b: int) -> Unknown | None:
        if min(self._counts[a], self._counts[b]) < ENOUGH_DOUBLE_RUNS:
            return Unknown(Reason.TOO_FEW_DOUBLE_RUNS)
        if drift_suspected(self._evidence, a, b):
            return Unknown(Reason.DRIFT_POSSIBLE)
        return None

    def _needed(self, a: int, b: int) -> int | None:
        comparisons = len(self._names) * (len(self._names) - 1) // 2
        sd = math.sqrt(max(self._evidence.levels.sd**2, self._floor))
        each = double_runs_each(sd, comparisons)
        if each is None:
            return None
        each = max(each, ENOUGH_DOUBLE_RUNS)
        return sum(max(each - self._counts[n], 0) for n in (a, b))


def _undecided(names: tuple[str, str], why: Unknown) -> PairResult:
    return PairResult(*names, why, "cannot_tell", None, None, 0.0, why)


def _figure(middle: float, variance: float, freedom: float) -> Figure:
    reach = quantile(max(freedom, 1.0)) * math.sqrt(variance)
    return Figure(math.exp(middle), math.exp(middle - reach), math.exp(middle + reach))


def _half_width(figure: Figure) -> float:
    return ((figure.high or 0.0) - (figure.low or 0.0)) / 2.0


def _own_variance(evidence: Evidence) -> float:
    """Return the variance of a double run from the noise within its legs alone, in ln speed."""
    legs = evidence.legs
    sums = [
        sum((w * legs[n].speed_sd_mps) ** 2 for n, w in double.parts) for double in evidence.doubles
    ]
    return float(np.mean(np.array(sums) / evidence.speed_mps**2))


def double_runs_each(sd_fraction: float, comparisons: int = 1) -> int | None:
    """Return how many double runs of each of two set-ups detect 3 % with 80 %; None above 200.

    Parameters
    ----------
    sd_fraction
        Relative standard deviation of one double run.
    comparisons
        Number of simultaneous comparisons.

    Examples
    --------
    >>> double_runs_each(0.012), double_runs_each(0.03)
    (4, 17)
    """
    for each in range(2, DOUBLE_RUNS_MOST + 1):
        freedom = 2.0 * each - 2.0
        reach = quantile(freedom, 1.0 - 0.025 / comparisons) + quantile(freedom, WANTED_POWER)
        if reach * sd_fraction * math.sqrt(2.0 / each) <= WANTED_FRACTION:
            return each
    return None
