"""What would fool the ranking as such: few runs, an order that hides a drift, water, outliers."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from onboard.block import FloatArray
from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.common_practice import (
    DRIFT_SIGNIFICANCE,
    VERDICT_SIGNIFICANCE,
)
from onboard.efficiency.trial.double_runs import DoubleRun
from onboard.efficiency.trial.ranking import one_after_the_other
from onboard.efficiency.trial.results import Evidence

ENOUGH_DOUBLE_RUNS = 2
"""Strasser et al. 2015, A verification of the ITTC/ISO speed/power trials analysis: two double runs
for each power setting."""


def doubts(evidence: Evidence) -> Iterator[Caution]:
    """Tell what would fool the ranking."""
    few = [
        name
        for name, count in zip(evidence.names, evidence.counts, strict=True)
        if count < ENOUGH_DOUBLE_RUNS
    ]
    few += evidence.without
    if few:
        yield Caution(CautionCode.TOO_FEW_DOUBLE_RUNS, setups=tuple(few))
    if evidence.water.changed or evidence.water.restless:
        yield _water_changed(evidence)
    for one in evidence.left_out:
        yield _outlying(one)
    confounded = [
        (evidence.names[a], evidence.names[b])
        for a, b in combinations(range(len(evidence.names)), 2)
        if drifts(evidence, a, b) or not together(evidence, a, b)
    ]
    if confounded:
        yield Caution(
            CautionCode.ORDER_CONFOUNDED,
            setups=tuple(a for a, _ in confounded),
            others=tuple(b for _, b in confounded),
        )


def drifts(evidence: Evidence, a: int, b: int) -> bool:
    """Return whether a drift may be what makes two set-ups differ.

    They were run one after the other; and a drift is seen, or the verdict hangs on whether there
    was one.
    """
    fit = evidence.levels
    if not one_after_the_other(evidence.sample, a, b):
        return False
    if fit.drift_chance < DRIFT_SIGNIFICANCE:
        return True
    contrast = _difference(evidence, a, b)
    without = fit.chance_undrifted(contrast) < VERDICT_SIGNIFICANCE
    within = fit.with_drift and fit.chance(contrast) < VERDICT_SIGNIFICANCE
    turned = float(contrast @ fit.undrifted[0]) * float(contrast @ fit.level) < 0.0
    return without != within or (within and turned)


def _difference(evidence: Evidence, a: int, b: int) -> FloatArray:
    contrast = np.zeros(len(evidence.names))
    contrast[a], contrast[b] = -1.0, 1.0
    return contrast


def together(evidence: Evidence, a: int, b: int) -> bool:
    """Return whether two set-ups can be compared within outings."""
    return evidence.levels.can_tell(_difference(evidence, a, b))


def _water_changed(evidence: Evidence) -> Caution:
    now = evidence.water
    return Caution(
        CautionCode.CURRENT_CHANGED,
        change_mps=now.change_mps if now.changed else None,
        leg_sd_mps=None if now.changed else now.leg_sd_mps,
    )


def _outlying(double: DoubleRun) -> Caution:
    return Caution(
        CautionCode.OUTLIER_RUN,
        run_numbers=tuple(n + 1 for n in double.legs),
        setup=double.setup,
    )
