"""Cautions on a comparison that may mislead: power, surroundings, order and number of runs.

README.md lists what each caution tests.
"""

import math
from collections.abc import Callable, Iterator
from itertools import combinations
from operator import attrgetter

import numpy as np

from onboard.block import FloatArray
from onboard.contract.remarks import Caution, CautionCode
from onboard.efficiency.statistics.students_t import quantile
from onboard.efficiency.trial.double_runs import DoubleRun
from onboard.efficiency.trial.leg import Leg
from onboard.efficiency.trial.ranking import run_in_sequence
from onboard.efficiency.trial.results import Evidence
from onboard.efficiency.trial.trial_practice import (
    AMPS_APART_FRACTION,
    AMPS_APART_SHARE,
    AMPS_STILL_FRACTION,
    DRIVE_APART_DEGC,
    PACK_APART_DEGC,
    POWER_APART_FRACTION,
    POWER_APART_QUANTILE,
    POWER_DRIFT_FRACTION,
    POWER_SCATTER_FRACTION,
    POWER_SET_SD_FRACTION,
    POWER_SWING_FRACTION,
    REPEATABILITY_WORTH,
    SCATTER_WORTH,
    VOLTS_APART_FRACTION,
)

ENOUGH_DOUBLE_RUNS = 2
"""Strasser et al. 2015, A verification of the ITTC/ISO speed/power trials analysis: two double runs
for each power setting."""

_power, _amps = attrgetter("power_w"), attrgetter("motor_amps_a")

ALIKE = (None, None, None, None)
"""Set-up, other set-up, and the temperature of each, where they did not differ."""


def power_cautions(legs: list[Leg]) -> list[Caution]:
    """Return cautions if battery power was not constant, and name the quantity that was."""
    apart, run_to_run, within_run = _apart(legs), _run_to_run(legs), _within_run(legs)
    if not apart and run_to_run is None and within_run is None:
        return []
    amps_a = _motor_current_held(legs)
    held = None if _amps_known(legs) else "not_known"
    cautions = [
        Caution(
            CautionCode.POWER_NOT_HELD,
            setups=apart,
            powers_w=tuple(math.exp(_log_mean(legs, name, _power)) for name in apart),
            run_to_run_fraction=run_to_run,
            within_run_fraction=within_run,
            held=held if amps_a is None else "motor_current",
        )
    ]
    if amps_a is not None:
        cautions.append(Caution(CautionCode.MOTOR_CURRENT_HELD, motor_amps_a=amps_a))
    return cautions


def surroundings_cautions(legs: list[Leg]) -> list[Caution]:
    """Return cautions if voltage or temperature differed between set-ups."""
    found: list[Caution] = []
    pair = _widest(legs, attrgetter("volts_v"))
    if pair and abs(pair[2] - pair[3]) > VOLTS_APART_FRACTION * max(pair[2:]):
        found.append(
            Caution(
                CautionCode.VOLTAGE_DIFFERS,
                setup=pair[0],
                voltage_v=pair[2],
                other=pair[1],
                other_voltage_v=pair[3],
            )
        )
    pack = _apart_degc(legs, PACK_APART_DEGC, attrgetter("pack_degc"))
    drive = _apart_degc(legs, DRIVE_APART_DEGC, attrgetter("drive_degc"))
    if pack or drive:
        (pack_setup, pack_other, pack_degc, pack_other_degc) = pack or ALIKE
        (drive_setup, drive_other, drive_degc, drive_other_degc) = drive or ALIKE
        found.append(
            Caution(
                CautionCode.TEMPERATURE_DIFFERS,
                pack_setup=pack_setup,
                pack_degc=pack_degc,
                pack_other=pack_other,
                pack_other_degc=pack_other_degc,
                drive_setup=drive_setup,
                drive_degc=drive_degc,
                drive_other=drive_other,
                drive_other_degc=drive_other_degc,
            )
        )
    return found


def ranking_cautions(evidence: Evidence) -> Iterator[Caution]:
    """Yield cautions on the ranking: few runs, water, outliers, order."""
    few = [
        name
        for name, count, laps in zip(evidence.names, evidence.counts, evidence.laps, strict=True)
        if not laps and count < ENOUGH_DOUBLE_RUNS
    ]
    few += evidence.without
    if few:
        yield Caution(CautionCode.TOO_FEW_DOUBLE_RUNS, setups=tuple(few))
    if any(evidence.laps) and evidence.levels.freedom < SCATTER_WORTH:
        yield Caution(CautionCode.USUAL_SCATTER, sd_fraction=evidence.usual_sd_fraction)
    if evidence.water.changed or evidence.water.restless:
        yield _water_changed(evidence)
    for double in evidence.left_out:
        yield _outlying(double)
    confounded = [
        (evidence.names[a], evidence.names[b])
        for a, b in combinations(range(len(evidence.names)), 2)
        if in_blocks(evidence, a, b) or not comparable(evidence, a, b)
    ]
    if confounded:
        yield Caution(
            CautionCode.ORDER_CONFOUNDED,
            setups=tuple(a for a, _ in confounded),
            others=tuple(b for _, b in confounded),
        )


def in_blocks(evidence: Evidence, a: int, b: int) -> bool:
    """Return whether two set-ups were run one after the other, not by turns."""
    return comparable(evidence, a, b) and run_in_sequence(evidence.sample, a, b)


def _difference(evidence: Evidence, a: int, b: int) -> FloatArray:
    contrast = np.zeros(len(evidence.names))
    contrast[a], contrast[b] = -1.0, 1.0
    return contrast


def comparable(evidence: Evidence, a: int, b: int) -> bool:
    """Return whether two set-ups can be compared within outings."""
    return evidence.levels.is_estimable(_difference(evidence, a, b))


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


def _apart_degc(
    legs: list[Leg], limit_degc: float, of: Callable[[Leg], float]
) -> tuple[str, str, float, float] | None:
    pair = _widest(legs, of)
    return pair if pair and abs(pair[2] - pair[3]) > limit_degc else None


def _setups(legs: list[Leg]) -> list[str]:
    return sorted({leg.setup for leg in legs})


def _of(legs: list[Leg], setup: str, value: Callable[[Leg], float]) -> FloatArray:
    values = np.array([value(leg) for leg in legs if leg.setup == setup], np.float64)
    return values[np.isfinite(values)]


def _widest(legs: list[Leg], value: Callable[[Leg], float]) -> tuple[str, str, float, float] | None:
    """Return the two set-ups whose means differ most, with the means; None if unknown."""
    means = {
        name: float(known.mean()) for name in _setups(legs) if len(known := _of(legs, name, value))
    }
    if len(means) < 2:
        return None
    high, low = max(means, key=means.__getitem__), min(means, key=means.__getitem__)
    return high, low, means[high], means[low]


def _scatter(legs: list[Leg], value: Callable[[Leg], float]) -> tuple[float, int]:
    """Return the pooled sd of a value's logarithm within set-ups, and its degrees of freedom."""
    squares, freedom = 0.0, 0
    for name in _setups(legs):
        logs = np.log(_of(legs, name, value))
        squares += float(((logs - logs.mean()) ** 2).sum())
        freedom += len(logs) - 1
    return (math.sqrt(squares / freedom), freedom) if freedom > 0 else (0.0, 0)


def _apart(legs: list[Leg]) -> tuple[str, ...]:
    """Return the set-ups that were run at different powers."""
    scatter, freedom = _scatter(legs, _power)
    # One run of each shows nothing of how well power is set.
    squares = freedom * scatter**2 + REPEATABILITY_WORTH * POWER_SET_SD_FRACTION**2
    reach = quantile(freedom + REPEATABILITY_WORTH, POWER_APART_QUANTILE) * math.sqrt(
        squares / (freedom + REPEATABILITY_WORTH)
    )
    apart: set[str] = set()
    for a, b in combinations(_setups(legs), 2):
        first, second = (np.log(_of(legs, name, _power)) for name in (a, b))
        difference = float(first.mean() - second.mean())
        sure = reach * math.sqrt(1.0 / len(first) + 1.0 / len(second))
        if abs(difference) > max(POWER_APART_FRACTION, sure):
            apart |= {a, b}
    return tuple(sorted(apart))


def _run_to_run(legs: list[Leg]) -> float | None:
    """Return the relative scatter of power from run to run, None if power was held constant."""
    scatter, _ = _scatter(legs, _power)
    return scatter if scatter > POWER_SCATTER_FRACTION else None


def _within_run(legs: list[Leg]) -> float | None:
    """Return the relative change of power within a run, None if power was held constant."""
    drift = float(np.median([abs(leg.power_drift_fraction) for leg in legs]))
    swing = float(np.median([leg.power_swing_fraction for leg in legs]))
    return (
        max(drift, swing) if drift > POWER_DRIFT_FRACTION or swing > POWER_SWING_FRACTION else None
    )


def _amps_known(legs: list[Leg]) -> bool:
    return all(len(_of(legs, name, _amps)) for name in _setups(legs))


def _motor_current_held(legs: list[Leg]) -> float | None:
    """Return the motor's current [A] if it was held constant while the power was not."""
    if not _amps_known(legs):
        return None
    reported = [leg for leg in legs if math.isfinite(leg.motor_amps_a)]
    by_power, by_amps = _scatter(reported, _power)[0], _scatter(reported, _amps)[0]
    if by_amps > max(AMPS_STILL_FRACTION, by_power / 2.0):
        return None
    apart = [
        tuple(
            _log_mean(reported, a, value) - _log_mean(reported, b, value)
            for value in (_power, _amps)
        )
        for a, b in combinations(_setups(reported), 2)
    ]
    same = all(
        abs(amps) < AMPS_APART_FRACTION + AMPS_APART_SHARE * abs(power) for power, amps in apart
    )
    moved = max((abs(power) for power, _ in apart), default=0.0) > POWER_APART_FRACTION
    if same and (moved or by_power > max(POWER_APART_FRACTION, 4.0 * by_amps)):
        return math.exp(float(np.mean([math.log(leg.motor_amps_a) for leg in reported])))
    return None


def _log_mean(legs: list[Leg], setup: str, value: Callable[[Leg], float]) -> float:
    return float(np.log(_of(legs, setup, value)).mean())
