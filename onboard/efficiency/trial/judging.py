"""Figures and verdicts of a comparison, and the runs that a verdict needs."""

import math
from itertools import combinations

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.statistics.students_t import quantile
from onboard.efficiency.trial.cautions import ENOUGH_DOUBLE_RUNS, in_blocks
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.ranking import adjusted, p_value_of
from onboard.efficiency.trial.results import Evidence, PairResult, SetupResult
from onboard.efficiency.trial.trial_practice import (
    SCATTER_WORTH,
    SETUP_SYSTEMATIC_SD_FRACTION,
    STEP_SD_FRACTION,
    STEP_SHARE_MOST,
    VERDICT_SIGNIFICANCE,
    WANTED_FRACTION,
    WANTED_POWER,
)

DOUBLE_RUNS_MOST = 200
"""Largest number of double runs of each set-up worth planning."""

CHANCE_DRAWS = 4000
"""Draws for the chance of being best, which is then known to a per cent."""


class Judge:
    """Figures and verdicts of one fit.

    Parameters
    ----------
    evidence
        The evidence behind the comparison.
    power_w, slope
        The power compared at, and the curve's slope there.
    significance
        p-value below which a difference is claimed.
    """

    def __init__(
        self, evidence: Evidence, power_w: float, slope: CurveSlope, significance: float
    ) -> None:
        self._evidence, self._names, self._counts = evidence, evidence.names, evidence.counts
        self._power_w, self._slope, self._significance = power_w, slope, significance
        self._floor = _own_variance(evidence)
        self._sd, self._freedom = _pooled_sd(evidence)
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
        dominant. With the ratio unsquared, they cover 94 to 96 % with two or more, 91 % with one.
        """
        fit, evidence = self._evidence.levels, self._evidence
        scale = float(contrast @ fit.inverse @ contrast)
        if fit.own_variance is None:
            scatter, freedom = self._sd**2 * scale, self._freedom
        else:
            scatter, freedom = fit.variance(contrast)
        row = contrast @ fit.weights
        by_water = row / evidence.speed_mps
        other_variance = float(by_water @ evidence.water.covariance @ by_water)
        other_variance += (float(row @ self._short) * self._slope.sd) ** 2
        other_variance += SETUP_SYSTEMATIC_SD_FRACTION**2 * float(contrast @ contrast) / 2.0
        share = fit.step_share(contrast)
        if abs(float(contrast.sum())) < 1e-9 and share > STEP_SHARE_MOST:
            other_variance += (share * STEP_SD_FRACTION) ** 2
        scatter = max(scatter, self._floor * scale)
        total = scatter + other_variance
        return total, freedom * (total / scatter)

    def setup(self, n: int, sensors_sd_fraction: float) -> SetupResult:
        """Return a set-up's figures."""
        contrast = np.eye(len(self._names))[n]
        name, level = self._names[n], float(self._evidence.levels.level[n])
        mine = np.array([double.setup == name for double in self._evidence.doubles])
        short = float(self._short[mine].mean())
        variance, freedom = self._spread(contrast)
        speed = _figure(level, variance, freedom)
        cost = _figure(
            math.log(self._power_w / 3.6) - level,
            variance + sensors_sd_fraction**2,
            freedom * (1.0 + sensors_sd_fraction**2 / max(variance, 1e-12)),
        )
        laps = self._evidence.laps[n]
        return SetupResult(
            name,
            self._power_w,
            self._power_w * math.exp(-short),
            math.exp(short * self._slope.value) - 1.0,
            speed,
            cost,
            self._counts[n] - laps,
            laps,
            sum(len(one.legs) for one in self._evidence.doubles if one.setup == name) - laps,
        )

    def pairs(self) -> tuple[PairResult, ...]:
        """Compare every pair of set-ups, corrected for the number of comparisons.

        The correction is Holm's. Besides, the best is told from all others if it is told from each
        of them by itself: a false claim needs a true hypothesis to be rejected by itself, so no
        correction is due (intersection-union test: Berger and Hsu 1996, *Bioequivalence
        trials, intersection-union tests and equivalence confidence sets*; from memory).
        """
        found = [self._pair(a, b) for a, b in combinations(range(len(self._names)), 2)]
        known = [pair for pair in found if pair.chance is not None]
        if not known:
            return tuple(found)
        best = self._names[int(np.argmax(self._evidence.levels.level))]
        with_best = [pair.chance for pair in found if best in (pair.a, pair.b)]
        together = 1.0 if None in with_best else max(one or 0.0 for one in with_best)
        chances = iter(adjusted(np.array([pair.chance for pair in known])).tolist())
        return tuple(
            pair
            if pair.chance is None
            else self._with_verdict(
                pair, min(next(chances), together if best in (pair.a, pair.b) else 1.0)
            )
            for pair in found
        )

    def chances_best(self) -> dict[str, float | None]:
        """Return each set-up's probability of being the best; None if it was run with no other.

        The levels are drawn from their joint distribution: a multivariate t.
        """
        fit = self._evidence.levels
        best = int(np.argmax(fit.level))
        others = [
            n for n in range(len(self._names)) if n != best and fit.group[n] == fit.group[best]
        ]
        contrasts = [self._contrast(best, n) for n in others]
        spreads = [self._spread(one) for one in contrasts]
        ahead = np.zeros((CHANCE_DRAWS, 1 + len(others)))
        if others:
            rows = np.array(contrasts)
            scatter = rows @ fit.inverse @ rows.T
            size = np.sqrt(np.diag(scatter))
            # Correlated as by the scatter, each as wide as its difference from the best.
            root = np.linalg.cholesky(scatter / np.outer(size, size) + 1e-9 * np.eye(len(others)))
            freedom = min(freedom for _, freedom in spreads)
            draws = np.random.default_rng(1).standard_normal((CHANCE_DRAWS, len(others))) @ root.T
            wide = np.sqrt(freedom / np.random.default_rng(2).chisquare(freedom, CHANCE_DRAWS))
            sds = np.sqrt([variance for variance, _ in spreads])
            ahead[:, 1:] = draws * wide[:, None] * sds + rows @ fit.level
        wins = np.bincount(np.argmax(ahead, axis=1), minlength=len(others) + 1) / CHANCE_DRAWS
        found: dict[str, float | None] = dict.fromkeys(self._names)
        if not others:
            return found
        for n, share in zip((best, *others), wins.tolist(), strict=True):
            found[self._names[n]] = share
        return found

    def behind(self) -> set[str]:
        """Return the set-ups that can each be told from the best, at half the p-value."""
        best = int(np.argmax(self._evidence.levels.level))
        pairs = [self._pair(n, best) for n in range(len(self._names)) if n != best]
        return {
            pair.a
            for pair in pairs
            if pair.chance is not None
            and pair.chance < self._significance / 2.0
            and not self._why_not(self._names.index(pair.a), best)
        }

    def told_fraction(self) -> float | None:
        """Return the Wh/km difference at which another is told from the best; None if alone."""
        best = int(np.argmax(self._evidence.levels.level))
        reaches = []
        for n in range(len(self._names)):
            if n != best:
                variance, freedom = self._spread(self._contrast(n, best))
                reach = quantile(freedom, 1.0 - self._significance / 2.0) * math.sqrt(variance)
                reaches.append(math.expm1(reach))
        return float(np.median(reaches)) if reaches else None

    def runs_each(self) -> int | None:
        """Return how many double runs or laps of each detect 3 % with 80 %; None above 200."""
        return double_runs_each(self._usual_sd(), max(len(self._names) - 1, 1), self._significance)

    def _usual_sd(self) -> float:
        return math.sqrt(max(self._sd**2, self._floor))

    def _contrast(self, a: int, b: int) -> FloatArray:
        contrast = np.zeros(len(self._names))
        contrast[a], contrast[b] = -1.0, 1.0
        return contrast

    def _pair(self, a: int, b: int) -> PairResult:
        names = self._names[a], self._names[b]
        fit, contrast = self._evidence.levels, self._contrast(a, b)
        if not fit.is_estimable(contrast):
            return _undecided(names, Unknown(Reason.NEVER_TOGETHER))
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
        if not why_not and chance < self._significance and isinstance(figure, Figure):
            verdict = "a_better" if figure.value < 0 else "b_better"
        elif not why_not and in_blocks(self._evidence, a, b):
            why_not = Unknown(Reason.DRIFT_POSSIBLE)
        elif not why_not and (pair.chance or 0.0) < self._significance:
            why_not = Unknown(Reason.BY_CHANCE)
        needed = None
        if verdict == "cannot_tell" and why_not != Unknown(Reason.DRIFT_POSSIBLE):
            needed = self._needed(a, b)
            if needed == 0 and isinstance(figure, Figure) and _half_width(figure) > WANTED_FRACTION:
                # Order effects, or few runs that agree by chance, add to the doubt of the scatter.
                needed = 2
        return PairResult(pair.a, pair.b, figure, verdict, needed, chance, pair.freedom, why_not)

    def _why_not(self, a: int, b: int) -> Unknown | None:
        # The rule is of double runs; one lap may tell what is far apart.
        counts, laps = self._counts, self._evidence.laps
        if any(counts[n] < ENOUGH_DOUBLE_RUNS and not laps[n] for n in (a, b)):
            return Unknown(Reason.TOO_FEW_DOUBLE_RUNS)
        return None

    def _needed(self, a: int, b: int) -> int | None:
        comparisons = len(self._names) * (len(self._names) - 1) // 2
        each = double_runs_each(self._usual_sd(), comparisons, self._significance)
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


def _pooled_sd(evidence: Evidence) -> tuple[float, float]:
    """Return the sd of a double run or lap, in ln speed, and its degrees of freedom.

    The usual one counts beside the day's own; the less, the more a day scatters, as in gusts.
    """
    fit = evidence.levels
    own = fit.sd**2 if fit.freedom > 0 else 0.0
    usual = evidence.usual_sd_fraction**2
    worth = SCATTER_WORTH * min(1.0, usual / max(own, 1e-18))
    freedom = max(fit.freedom, 0) + worth
    pooled = (max(fit.freedom, 0) * own + worth * usual) / freedom
    return math.sqrt(max(pooled, own)), freedom


def _own_variance(evidence: Evidence) -> float:
    """Return the variance of a double run from the noise within its legs alone, in ln speed."""
    legs = evidence.legs
    sums = [
        sum((w * legs[n].speed_sd_mps) ** 2 for n, w in double.parts) for double in evidence.doubles
    ]
    return float(np.mean(np.array(sums) / evidence.speed_mps**2))


def double_runs_each(
    sd_fraction: float, comparisons: int = 1, significance: float = VERDICT_SIGNIFICANCE
) -> int | None:
    """Return how many double runs of each of two set-ups detect 3 % with 80 %; None above 200.

    Parameters
    ----------
    sd_fraction
        Relative standard deviation of one double run.
    comparisons
        Number of simultaneous comparisons.
    significance
        p-value below which a difference is claimed.

    Examples
    --------
    >>> double_runs_each(0.012), double_runs_each(0.03)
    (4, 17)
    """
    for each in range(2, DOUBLE_RUNS_MOST + 1):
        freedom = 2.0 * each - 2.0
        reach = quantile(freedom, 1.0 - significance / 2.0 / comparisons) + quantile(
            freedom, WANTED_POWER
        )
        if reach * sd_fraction * math.sqrt(2.0 / each) <= WANTED_FRACTION:
            return each
    return None
