"""A trial as JSON for other programs."""

import math
from dataclasses import replace
from typing import Any

from groundside.reports.compare.cruise_range import CruiseRange
from groundside.reports.compare.findings import Findings
from groundside.reports.compare.power_splits import SetupSplit
from groundside.words.remarks import caution_text, remark_text
from groundside.words.units import DEFAULT
from onboard.contract.codec import plain
from onboard.contract.figure import Estimate
from onboard.dataclass import dataclass
from onboard.efficiency.trial.results import Comparison, PairResult

SCHEMA = 2


def as_json(findings: Findings) -> dict[str, Any]:
    """Return a comparison in JSON's own types; see the README.md of reports."""
    trial = findings.trial
    found, evidence = trial.comparison, trial.comparison.evidence
    return {
        "schema": SCHEMA,
        "power_w": found.power_w,
        "setups": plain(found.setups),
        "pairs": [_pair(one) for one in found.pairs],
        "places": plain(found.places),
        "next_runs": plain(found.next_runs),
        "told_fraction": found.told_fraction,
        "shared_sd_fraction": found.shared_sd_fraction,
        "cruise": None if findings.cruise is None else _cruise(findings.cruise),
        "warnings": [{**plain(one), "text": caution_text(one, DEFAULT)} for one in trial.cautions],
        "legs": [_leg(n, findings) for n in range(len(evidence.legs))],
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
        "power_split": [_split(one) for one in findings.splits],
        "power_split_pairs": plain(findings.pairs),
    }


def _pair(one: PairResult) -> dict[str, Any]:
    """Return a pair; its `why_not` is an ordinary value, not the reason for an unknown one."""
    body: dict[str, Any] = plain(replace(one, why_not=None))
    return body | {"why_not": plain(one.why_not)}


def _cruise(found: CruiseRange) -> dict[str, Any]:
    return {
        "speed_mps": found.cruise.speed_mps,
        "setups": [
            plain(
                CruiseRow(one.name, one.wh_per_km, range_m, one.behind_fraction, one.by_own_curve)
            )
            for one, range_m in zip(found.cruise.setups, found.range_m, strict=True)
        ],
    }


@dataclass(frozen=True)
class CruiseRow:
    """A row of `cruise`."""

    name: str
    wh_per_km: Estimate
    range_m: Estimate
    behind_fraction: Estimate
    by_own_curve: bool


def _leg(n: int, findings: Findings) -> dict[str, Any]:
    evidence = findings.trial.comparison.evidence
    one, is_lap = evidence.legs[n], evidence.legs[n].lap_m > 0.0
    when = findings.times.of(one)
    return {
        "number": n + 1,
        "setup": one.setup,
        "log": one.place,
        "outing": one.outing + 1,
        "start_s": one.start_s - evidence.legs[0].start_s,
        "seconds_s": one.seconds_s,
        "from_s": when.from_s,
        "utc": None if when.utc is None else f"{when.utc:%Y-%m-%dT%H:%M:%SZ}",
        "course_deg": None if is_lap else one.course_deg,
        "lap_m": one.lap_m if is_lap else None,
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
