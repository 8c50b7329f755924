"""The comparison of set-ups: legs in, ranking out, with the evidence behind it."""

import numpy as np

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.trial.cautions import ranking_cautions
from onboard.efficiency.trial.double_runs import DoubleRun, UnpairedLeg, double_runs
from onboard.efficiency.trial.equal_power import CurveSlope, at_power
from onboard.efficiency.trial.judging import Judge
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.outlier import Scatter, outlier
from onboard.efficiency.trial.places import next_runs, places_of
from onboard.efficiency.trial.ranking import Sample, levels
from onboard.efficiency.trial.results import Comparison, Evidence
from onboard.efficiency.trial.trial_practice import (
    LEG_SD_FRACTION,
    OUTLIERS_MOST_FRACTION,
    VERDICT_SIGNIFICANCE,
)
from onboard.efficiency.trial.water_change import water

CONVERGED_MPS, ITERATIONS = 1e-10, 20
"""Change of the speeds below which the iteration between water and power stops, and its bound."""


def compare(
    legs: list[Leg],
    power_w: float,
    slope: CurveSlope,
    sensors_sd_fraction: float,
    significance: float = VERDICT_SIGNIFICANCE,
) -> Comparison | Unknown:
    """Compare set-ups.

    Parameters
    ----------
    legs
        In order of outing and time.
    power_w
        The battery power to compare at.
    slope
        The curve's slope there.
    sensors_sd_fraction
        Relative standard deviation of a measured power; all set-ups share it.
    significance
        p-value below which a difference is claimed.
    """
    doubles, unpaired = double_runs(legs)
    if not doubles:
        return Unknown(
            Reason.NO_DOUBLE_RUN,
            reasons=tuple(dict.fromkeys(leg.why.code.code for leg in unpaired)),
        )
    left_out: list[DoubleRun] = []
    while True:
        reference = _Reference(legs, power_w, slope)
        evidence = _evidence(reference, doubles, left_out, unpaired)
        worst = _outlier(evidence)
        most = OUTLIERS_MOST_FRACTION * (len(doubles) + len(left_out))
        if worst is None or len(left_out) + 1 > max(most, 1.0):
            break
        left_out.append(doubles[worst])
        doubles = doubles[:worst] + doubles[worst + 1 :]
    judge = Judge(evidence, power_w, slope, significance)
    order = np.argsort(-evidence.levels.level, kind="stable").tolist()
    pairs = judge.pairs()
    places = places_of([evidence.names[n] for n in order], pairs, judge.chances_best())
    return Comparison(
        power_w,
        slope,
        tuple(judge.setup(n, sensors_sd_fraction) for n in order),
        pairs,
        tuple(ranking_cautions(evidence)),
        evidence,
        places,
        next_runs(places, evidence, judge.runs_each(), judge.behind()),
        judge.told_fraction(),
        sensors_sd_fraction,
    )


@dataclass(frozen=True)
class _Reference:
    """Legs, and the power to scale them to."""

    legs: list[Leg]
    power_w: float
    slope: CurveSlope


def _evidence(
    reference: _Reference,
    doubles: list[DoubleRun],
    left_out: list[DoubleRun],
    unpaired: list[UnpairedLeg],
) -> Evidence:
    legs = reference.legs
    through = np.array([leg.speed_mps for leg in legs])
    for _ in range(ITERATIONS):
        # Only the speed through water scales with power, which requires the water to be known.
        now = water(
            legs, doubles, at_power(legs, through, reference.power_w, reference.slope.value)
        )
        better = np.array([leg.speed_mps for leg in legs]) - np.nan_to_num(now.along_mps)
        if float(np.abs(better - through).max()) < CONVERGED_MPS:
            break
        through = better
    names = list(dict.fromkeys(double.setup for double in doubles))
    sample = Sample(
        np.log(now.corrected_mps),
        np.array([names.index(double.setup) for double in doubles]),
        # Turns slow a lap: laps are compared with laps only, as on another outing.
        np.array([2 * double.outing + double.is_lap for double in doubles]),
        np.array([_when(legs, double) for double in doubles]),
    )
    speeds = now.corrected_mps
    return Evidence(
        legs, doubles, list(left_out), unpaired, speeds, now, names, sample, levels(sample)
    )


def _when(legs: list[Leg], double: DoubleRun) -> float:
    return float(np.mean([legs[n].middle_s for n in double.legs]))


def _outlier(evidence: Evidence) -> int | None:
    now, fit = evidence.water, evidence.levels
    counts = dict(zip(evidence.names, evidence.counts, strict=True))
    usual_mps = LEG_SD_FRACTION * float(evidence.speed_mps.mean())
    return outlier(
        [
            Scatter(fit.residual, fit.leverage, fit.freedom, evidence.usual_sd_fraction),
            Scatter(now.residual_mps, now.leverage, now.freedom, usual_mps),
        ],
        np.array([not one.is_lap or counts[one.setup] >= 3 for one in evidence.doubles]),
    )
