"""Comparison days: are equal set-ups judged equal, is a true 3 % found, are the traps reported?

Each day is a log for the `compare` command and a sheet of its legs, with newly drawn power,
courses, water, order and sensors: four double runs of each set-up, which repeat to 1.2 %.
"""

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from groundside.reports.compare.run_sheet import RunEntry
from groundside.reports.compare.trial import run_trial
from groundside.reports.compare.trial_log import read_all, read_trial_log
from onboard.contract.figure import Figure
from onboard.efficiency.trial.trial import Trial
from onboard.profile import Drive, Profile, Sensors
from tests.craft.chance import generator
from tests.craft.telemetry_log import log_bytes
from tests.craft.trial_day import (
    FREE_S,
    KV_RPM_PER_V,
    NO_LOAD_A,
    POLE_PAIRS,
    WINDING_OHM,
    Day,
    Made,
    Setup,
    make,
    power_at_motor,
)
from tests.evaluation.statistics import markdown, percent, percentile, share

EQUAL, BETTER = "equal set-ups", "3 % apart"
HELD, HELD_INPUT, HELD_SILENT = (
    "motor current held, reported",
    "motor current held, turns and motor data",
    "motor current held, no telemetry",
)
UNEQUAL, ALIKE = "unequal power, not by motor current", "power held, reported"
TIDE, OUTLIER, BLOCKED, TREND, GUSTS = (
    "rising tide",
    "one run 12 % slow",
    "A then B, nothing drifts",
    "A then B, all slows by 8 %",
    "gusts of 0.1 m/s",
)
VARIANTS = {
    EQUAL: 1.0,
    BETTER: 1.0,
    HELD: 1.0,
    HELD_INPUT: 0.2,
    HELD_SILENT: 0.2,
    UNEQUAL: 1.0,
    ALIKE: 0.5,
    TIDE: 0.2,
    OUTLIER: 0.2,
    BLOCKED: 0.2,
    TREND: 0.2,
    GUSTS: 0.2,
}
ORDERS = ("ABBAABBA", "ABBABAAB", "BAABABBA", "ABABBABA", "BABAABAB")
CODES = (
    "power_not_held",
    "motor_current_held",
    "too_few_double_runs",
    "current_changed",
    "outlier_run",
    "order_confounded",
    "voltage_differs",
    "temperature_differs",
)
MOTOR = Drive(
    kv_rpm_per_v=KV_RPM_PER_V,
    phase_resistance_ohm=WINDING_OHM,
    no_load_a=NO_LOAD_A,
    pole_pairs=POLE_PAIRS,
)


def drawn(seed: int, variant: str) -> Day:
    """Draw a day."""
    rng = generator(seed, "comparison day")
    sensors = Sensors()
    day = Day(
        {"A": Setup(0.0, float(rng.uniform(1.8, 3.0))), "B": Setup(0.0, 2.3)},
        tuple(ORDERS[int(rng.integers(len(ORDERS)))]),
        power_w=float(rng.uniform(250.0, 600.0)),
        leg_s=float(rng.uniform(60.0, 150.0)),
        course_deg=float(rng.uniform(0.0, 360.0)),
        current_mps=float(rng.uniform(-0.4, 0.4)),
        current_change_mps=float(rng.uniform(-0.03, 0.03)),
        # With the scatter of its legs, a double run repeats to 1.2 %.
        double_run_sd=0.0117,
        current_scale=1.0 + sensors.current_scale_sd * float(rng.standard_normal()),
        voltage_scale=1.0 + sensors.voltage_scale_sd * float(rng.standard_normal()),
    )
    apart = {"A": day.setups["A"], "B": Setup(0.03, 2.3)}
    held_a = float(rng.uniform(25.0, 38.0))
    if variant == BETTER:
        return replace(day, setups=apart)
    if variant in (HELD, HELD_INPUT, HELD_SILENT):
        # Propeller torques differ so that the powers differ by 3 to 20 %.
        day = replace(day, setups={"A": _other_torque(rng, held_a), "B": Setup(0.0, 2.3)})
        telemetry = {HELD: "motor", HELD_INPUT: "input", HELD_SILENT: "none"}[variant]
        return replace(day, held_motor_a=held_a, drive_telemetry=telemetry)
    if variant == UNEQUAL:
        unequal = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.03, 0.2))
        powers = {"B": day.power_w * (1.0 + unequal)}
        return replace(day, setup_power_w=powers, drive_telemetry="motor")
    changes: dict[str, dict[str, Any]] = {
        ALIKE: {"drive_telemetry": "motor"},
        TIDE: {"current_change_mps": float(rng.choice([-0.3, 0.3]))},
        OUTLIER: {"outlier_leg": int(rng.integers(16))},
        BLOCKED: {"order": tuple("AAAABBBB")},
        TREND: {"order": tuple("AAAABBBB"), "trend": 0.08},
        GUSTS: {"gust_sd_mps": 0.1},
    }
    return replace(day, **changes.get(variant, {}))


def _other_torque(rng: np.random.Generator, held_a: float) -> Setup:
    wanted = power_at_motor(held_a, 2.3) * (1.0 + float(rng.uniform(0.03, 0.2)))
    torques = np.linspace(0.9, 2.3, 400)
    powers = [power_at_motor(held_a, one) for one in torques.tolist()]
    return Setup(0.0, float(np.interp(-wanted, -np.array(powers), torques)))


def trial_of(made: Made, profile: Profile) -> Trial:
    """Return the result of `compare` for a day's log and sheet."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.tlog"
        path.write_bytes(log_bytes(made.frames, 1_750_000_000.0))
        sheet = [RunEntry(name, path, a - FREE_S, b - FREE_S) for name, a, b in made.legs]
        return run_trial(read_all(sheet, lambda log: read_trial_log(log, profile)), profile.sensors)


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Simulate a day and compare its set-ups."""
    made = make(drawn(seed, variant), seed)
    found = trial_of(made, Profile(drive=MOTOR) if variant == HELD_INPUT else Profile())
    pair = next(one for one in found.comparison.pairs)
    figure = pair.difference_fraction
    known = isinstance(figure, Figure)
    return {
        "verdict": pair.verdict,
        "true": made.speed_mps[pair.b] / made.speed_mps[pair.a] - 1.0,
        "low": figure.low if known else None,
        "high": figure.high if known else None,
        "codes": [one.code.code for one in found.cautions],
    }


def table(rows: list[dict[str, Any]]) -> str:
    """Return verdicts, coverage, and the frequency of each warning."""
    lines = []
    for variant in VARIANTS:
        days = [row for row in rows if row["variant"] == variant]
        if not days:
            continue
        judged = [row for row in days if row["low"] is not None]
        wrong = [row for row in days if _claim(row) and _claim(row) * row["true"] <= 0.0]
        cautions = [f"{code} {share(n, len(days))}" for code in CODES if (n := _count(days, code))]
        lines.append(
            [
                variant,
                str(len(days)),
                share(sum(_claim(row) != 0 for row in days), len(days)),
                share(len(wrong), len(days)),
                share(sum(row["low"] <= row["true"] <= row["high"] for row in judged), len(judged)),
                percent(percentile([(row["high"] - row["low"]) / 2.0 for row in judged], 50)),
                "; ".join(cautions) or "-",
            ]
        )
    head = (
        "comparison day", "days", "a difference claimed", "falsely", "coverage",
        "median half width", "cautions",
    )  # fmt: skip
    return markdown("set-ups compared, four double runs each", head, lines)


def _claim(row: dict[str, Any]) -> int:
    """Return the sign of the claimed difference; 0 if none is claimed."""
    return {"a_better": -1, "b_better": 1, "cannot_tell": 0}[row["verdict"]]


def _count(days: list[dict[str, Any]], code: str) -> int:
    return sum(code in row["codes"] for row in days)
