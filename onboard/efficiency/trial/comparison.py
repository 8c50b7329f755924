"""The comparison of set-ups: legs in, ranking out, with all that it rests on."""

from dataclasses import dataclass

import numpy as np

from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.common_practice import (
    DOUBLE_RUN_SD_FRACTION,
    LEG_SD_FRACTION,
    OUTLIERS_MOST_FRACTION,
)
from onboard.efficiency.trial.double_runs import Alone, DoubleRun, double_runs
from onboard.efficiency.trial.doubts import doubts
from onboard.efficiency.trial.equal_power import Slope, at_power
from onboard.efficiency.trial.judging import Judge
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.outlier import Scatter, outlier
from onboard.efficiency.trial.ranking import Sample, levels
from onboard.efficiency.trial.results import Comparison, Evidence
from onboard.efficiency.trial.water_change import water

SETTLED_MPS, ROUNDS = 1e-10, 20


def compare(
    legs: list[Leg], power_w: float, slope: Slope, sensors_sd_fraction: float
) -> Comparison | Unknown:
    """Compare the set-ups of some legs.

    Parameters
    ----------
    legs
        In order of outing and time.
    power_w
        The battery power to compare at.
    slope
        The curve's slope there.
    sensors_sd_fraction
        How well the instruments know a power; all set-ups share it.
    """
    doubles, alone = double_runs(legs)
    if not doubles:
        return Unknown(
            Reason.NO_DOUBLE_RUN, reasons=tuple(dict.fromkeys(one.why.code.code for one in alone))
        )
    left_out: list[DoubleRun] = []
    while True:
        brought = _Brought(legs, power_w, slope)
        evidence = _evidence(brought, doubles, left_out, alone)
        worst = _outlier(evidence)
        most = OUTLIERS_MOST_FRACTION * (len(doubles) + len(left_out))
        if worst is None or len(left_out) + 1 > max(most, 1.0):
            break
        left_out.append(doubles[worst])
        doubles = doubles[:worst] + doubles[worst + 1 :]
    judge = Judge(evidence, power_w, slope)
    order = np.argsort(-evidence.levels.level, kind="stable").tolist()
    return Comparison(
        power_w,
        slope,
        tuple(judge.setup(n, sensors_sd_fraction) for n in order),
        judge.pairs(),
        tuple(doubts(evidence)),
        evidence,
    )


@dataclass(frozen=True)
class _Brought:
    """Legs, and what to bring them to."""

    legs: list[Leg]
    power_w: float
    slope: Slope


def _evidence(
    brought: _Brought,
    doubles: list[DoubleRun],
    left_out: list[DoubleRun],
    alone: list[Alone],
) -> Evidence:
    legs = brought.legs
    through = np.array([one.speed_mps for one in legs])
    for _ in range(ROUNDS):
        # What is brought to another power is the speed through water: known once the water is.
        now = water(legs, doubles, at_power(legs, through, brought.power_w, brought.slope.value))
        better = np.array([one.speed_mps for one in legs]) - np.nan_to_num(now.along_mps)
        if float(np.abs(better - through).max()) < SETTLED_MPS:
            break
        through = better
    names = list(dict.fromkeys(one.setup for one in doubles))
    sample = Sample(
        np.log(now.corrected_mps),
        np.array([names.index(one.setup) for one in doubles]),
        np.array([one.outing for one in doubles]),
        np.array([_when(legs, one) for one in doubles]),
    )
    speeds = now.corrected_mps
    return Evidence(
        legs, doubles, list(left_out), alone, speeds, now, names, sample, levels(sample)
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
