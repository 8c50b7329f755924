"""A trial as JSON for other programs."""

import math
from dataclasses import replace
from typing import Any

from groundside.reports.compare.power_splits import PairSplit, SetupSplit
from groundside.words.remarks import caution_text, remark_text
from groundside.words.units import DEFAULT
from onboard.contract.codec import plain
from onboard.efficiency.trial.results import Comparison, Evidence, PairResult
from onboard.efficiency.trial.trial import Trial

SCHEMA = 2


def as_json(trial: Trial, splits: list[SetupSplit], pairs: list[PairSplit]) -> dict[str, Any]:
    """Return a trial in JSON's own types; see the README.md of reports."""
    found, evidence = trial.comparison, trial.comparison.evidence
    return {
        "schema": SCHEMA,
        "power_w": found.power_w,
        "setups": plain(found.setups),
        "pairs": [_pair(one) for one in found.pairs],
        "warnings": [{**plain(one), "text": caution_text(one, DEFAULT)} for one in trial.cautions],
        "legs": [_leg(n, evidence) for n in range(len(evidence.legs))],
        "double_runs": [
            {
                "setup": one.setup,
                "legs": [n + 1 for n in one.legs],
                "weights": list(one.weights),
                "speed_mps": float(speed),
            }
            for one, speed in zip(evidence.doubles, evidence.speed_mps, strict=True)
        ],
        "left_out": [
            {"setup": one.setup, "legs": [n + 1 for n in one.legs]} for one in evidence.left_out
        ],
        "alone": [{"leg": one.leg + 1, "why": plain(one.why)} for one in evidence.unpaired],
        "passed_over": [
            {**plain(one), "text": remark_text(one, DEFAULT)} for one in trial.passed_over
        ],
        "statistics": _statistics(found),
        "power_split": [_split(one) for one in splits],
        "power_split_pairs": plain(pairs),
    }


def _pair(one: PairResult) -> dict[str, Any]:
    """Return a pair; its `why_not` is an ordinary value, not the reason for an unknown one."""
    body: dict[str, Any] = plain(replace(one, why_not=None))
    return body | {"why_not": plain(one.why_not)}


def _leg(n: int, evidence: Evidence) -> dict[str, Any]:
    one = evidence.legs[n]
    return {
        "number": n + 1,
        "setup": one.setup,
        "log": one.place,
        "outing": one.outing + 1,
        "start_s": one.start_s - evidence.legs[0].start_s,
        "seconds_s": one.seconds_s,
        "course_deg": one.course_deg,
        "power_w": one.power_w,
        "power_sd_w": one.power_sd_w,
        "speed_mps": one.speed_mps,
        "speed_sd_mps": one.speed_sd_mps,
        "volts_v": _finite(one.volts_v),
        "rpm": _finite(one.rpm),
        "motor_amps_a": _finite(one.motor_amps_a),
        "water_along_mps": _finite(float(evidence.water.along_mps[n])),
    }


def _statistics(found: Comparison) -> dict[str, Any]:
    fit = found.evidence.levels
    return {
        "double_run_sd_fraction": _finite(fit.sd),
        "degrees_of_freedom": fit.freedom,
        "method": "welch" if fit.own_variance is not None else "pooled",
        "drift_in_model": fit.with_drift,
        "drift_per_h_fraction": _finite(fit.drift_per_h),
        "curve_slope": found.slope.value,
        "curve_slope_sd": found.slope.sd,
    }


def _split(one: SetupSplit) -> dict[str, Any]:
    return {
        "setup": one.name,
        **plain(one.split),
        "propeller_rpm": one.propeller_rpm,
        "metres_per_turn_m": one.metres_per_turn_m,
        "shaft_wh_per_km": one.shaft_wh_per_km,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
