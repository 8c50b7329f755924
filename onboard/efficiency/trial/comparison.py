"""The comparison of set-ups: legs in, ranking out, with the evidence behind it."""

from dataclasses import dataclass

import numpy as np

from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.common_practice import (
    DOUBLE_RUN_SD_FRACTION,
    LEG_SD_FRACTION,
    OUTLIERS_MOST_FRACTION,
)
from onboard.efficiency.trial.cautions import ranking_cautions
from onboard.efficiency.trial.double_runs import DoubleRun, UnpairedLeg, double_runs
from onboard.efficiency.trial.equal_power import CurveSlope, at_power
from onboard.efficiency.trial.judging import Judge
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.outlier import Scatter, outlier
from onboard.efficiency.trial.ranking import Sample, levels
from onboard.efficiency.trial.results import Comparison, Evidence, NextRuns, Place
from onboard.efficiency.trial.water_change import water

CONVERGED_MPS, ITERATIONS = 1e-10, 20
"""Change of the speeds below which the iteration between water and power stops, and its bound."""


def compare(
    legs: list[Leg], power_w: float, slope: CurveSlope, sensors_sd_fraction: float
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
    judge = Judge(evidence, power_w, slope)
    order = np.argsort(-evidence.levels.level, kind="stable").tolist()
    setups = tuple(judge.setup(n, sensors_sd_fraction) for n in order)
    places = tuple(Place(one.name, 0, Figure(0.01), 1.0 / len(setups)) for one in setups)
    names = tuple(one.name for one in setups)
    return Comparison(
        power_w,
        slope,
        setups,
        judge.pairs(),
        tuple(ranking_cautions(evidence)),
        evidence,
        places,
        NextRuns(len(doubles) >= 4 * len(names), (*names, *reversed(names)), (), 1),
        0.03,
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
        np.array([double.outing for double in doubles]),
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
    usual_mps = LEG_SD_FRACTION * float(evidence.speed_mps.mean())
    return outlier(
        [
            Scatter(fit.residual, fit.leverage, fit.freedom, DOUBLE_RUN_SD_FRACTION),
            Scatter(now.residual_mps, now.leverage, now.freedom, usual_mps),
        ]
    )
