"""Checks of the instruments on a craft at rest: GPS, current and voltage.

Limits are common practice, no source, unless something else is said.
"""

import math
import statistics

import numpy as np

from onboard.ashore.facts import FixFacts, PowerFacts
from onboard.ashore.findings import CheckFinding, CheckVerdict, bad, graded, look, ok
from onboard.chemistry import CHEMISTRIES
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.profile import Battery, Sensors

NOT_CHECKED = "not checked: no autopilot heard"

WAIT = "Give it open sky and a few minutes, then check again."

SATELLITES_LEAST = 6
RESTLESS_MPS = 0.3
"""Speed above which the engine counts a craft as under way; noise must stay below."""

IDLE_MOST_W = 25.0
"""Largest total draw of board, autopilot, GPS and an idle drive [W]."""

DRAWING_W = 60.0
"""Power above which something is switched on, and an offset is indistinguishable from it [W]."""

ZERO_A = 0.05
"""Readings this close to zero are not significant [A]."""


def check_fix(facts: FixFacts, has_autopilot: bool) -> CheckFinding:
    """Check the GPS of a craft at rest."""
    name = "fix"
    if not has_autopilot:
        return look(name, NOT_CHECKED)
    if facts.received and facts.fix is None:
        return bad(name, "no GPS message: have the autopilot send GPS_RAW_INT 5 times a second.")
    if facts.fix is not None and facts.fix < 2:
        return bad(name, f"no fix{_satellites(facts)}. {WAIT}")
    if not facts.speeds_mps:
        return bad(name, f"no speed ({facts.why_no_speed}): no Wh/km without it. {WAIT}")
    noise_mps = sorted(facts.speeds_mps)[math.ceil(0.95 * len(facts.speeds_mps)) - 1]
    kind = "position known" if facts.has_position else "no position"
    if facts.fix is not None:
        kind = f"{'3D' if facts.fix >= 3 else '2D'}{_satellites(facts)}"
    if facts.horizontal_sd_m is not None:
        kind += f", position to {facts.horizontal_sd_m:.1f} m"
    few = facts.satellites is not None and facts.satellites < SATELLITES_LEAST
    return graded(
        name,
        f"{kind}, speed at rest up to {noise_mps:.2f} m/s",
        (facts.fix is not None and facts.fix < 3, CheckVerdict.LOOK, f". {WAIT}"),
        (
            noise_mps > RESTLESS_MPS,
            CheckVerdict.LOOK,
            ": moving, or little sky. Lay it still, away from walls.",
        ),
        (few, CheckVerdict.LOOK, f": few satellites. {WAIT}"),
    )


def _satellites(facts: FixFacts) -> str:
    return "" if facts.satellites is None else f", {facts.satellites:.0f} satellites"


def check_current(facts: PowerFacts, sensors: Sensors, has_autopilot: bool) -> CheckFinding:
    """Check the current sensor of a craft at rest: it should read nearly zero."""
    name = "current"
    if not has_autopilot:
        return look(name, NOT_CHECKED)
    if not facts.amps_a:
        return bad(
            name,
            f"no current ({facts.why_no_amps}): set up the autopilot's power monitor, and have it "
            "send BATTERY_STATUS or SYS_STATUS twice a second.",
        )
    mean_a = statistics.fmean(facts.amps_a)
    offset_a = round(sensors.current_offset_a - mean_a, 3) + 0.0
    advice = f"sensors.current_offset_a = {offset_a:g}"
    text = f"{mean_a:.2f} A at rest"
    watts = 0.0
    if facts.volts_v:
        watts = mean_a * statistics.fmean(facts.volts_v)
        text += f", {watts:.0f} W"
    return graded(
        name,
        text,
        (mean_a < -ZERO_A, CheckVerdict.LOOK, f": below zero. Without a charger on, set {advice}."),
        (
            watts > DRAWING_W,
            CheckVerdict.LOOK,
            ": something is on. Switch it off, then check again.",
        ),
        (
            watts > IDLE_MOST_W,
            CheckVerdict.LOOK,
            f": much for electronics alone. If a meter says 0: {advice}",
        ),
        (
            mean_a > ZERO_A,
            CheckVerdict.OK,
            f", as electronics draw. If a meter says 0: {advice}",
        ),
        (
            not any(facts.amps_a),
            CheckVerdict.OK,
            " exactly: a sensor that stops at zero can hide a negative offset",
        ),
    )


def check_voltage(
    facts: PowerFacts, battery: Battery | None, sensors: Sensors, has_autopilot: bool
) -> CheckFinding:
    """Check the voltage of a pack at rest against the profile's battery."""
    name = "voltage"
    if not has_autopilot:
        return look(name, NOT_CHECKED)
    if not facts.volts_v:
        return bad(
            name, f"no voltage ({facts.why_no_volts}): set up the autopilot's power monitor."
        )
    volts = statistics.fmean(facts.volts_v)
    if battery is None:
        return ok(name, f"{volts:.1f} V; compare with a meter (no battery in the profile)")
    chemistry = CHEMISTRIES[battery.chemistry]
    least_v = battery.cutoff_v or chemistry.cutoff_v * battery.cells
    most_v = battery.charged_v
    tolerance = 2.0 * sensors.voltage_scale_sd
    cell_v = volts / battery.cells
    text = f"{volts:.1f} V, {cell_v:.2f} V a cell of {battery.cells}"
    if volts > most_v * (1.0 + tolerance):
        return bad(name, f"{text}: above full, {most_v:.1f} V. Check {_remedy(volts, battery)}")
    if volts < least_v * (1.0 - tolerance):
        remedy = f"Charge, or check {_remedy(volts, battery)}"
        return bad(name, f"{text}: below cut-off, {least_v:.1f} V. {remedy}")
    low, high = charge_range(battery.chemistry, cell_v, sensors.voltage_scale_sd)
    return graded(
        name,
        f"{text}: {100 * low:.0f} to {100 * high:.0f} % charged",
        (
            high < battery.start_fraction - 0.05,
            CheckVerdict.LOOK,
            f", below the {100 * battery.start_fraction:.0f} % that a first ride begins with: "
            "charge, or say in the runs view how full it is.",
        ),
    )


def charge_range(chemistry: str, cell_v: float, scale_sd: float) -> tuple[float, float]:
    """Return the 95 % interval of a rested cell's charge, as shares of full.

    Parameters
    ----------
    chemistry
        Chemistry of the cell.
    cell_v
        Voltage after a rest [V].
    scale_sd
        Standard deviation of the voltage's gain.

    Examples
    --------
    >>> charge_range("li-ion", 4.2, 0.005)
    (0.97, 1.0)
    """
    table = OCV_CURVES[chemistry]
    away = np.abs(table.ocv_v - cell_v)
    within = away <= 2.0 * np.hypot(table.sd_v, scale_sd * cell_v)
    shares = table.fraction[within] if within.any() else table.fraction[[np.argmin(away)]]
    return round(float(shares.min()), 2), round(float(shares.max()), 2)


def _remedy(volts: float, battery: Battery) -> str:
    chemistry = CHEMISTRIES[battery.chemistry]
    fewest = math.ceil(volts / CHEMISTRIES[battery.chemistry].full_v)
    most = min(math.floor(volts / chemistry.cutoff_v), 32)
    fit = "no count of cells fits"
    if 1 <= fewest <= most:
        fit = f"{fewest} to {most} cells fit" if fewest < most else f"{most} cells fit"
    return f"battery.cells ({fit}) and the sensor's voltage scale."
