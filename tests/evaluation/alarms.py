"""Alarms: how many are false on rides in order, and whether those of faults come in time."""

from collections import Counter
from typing import Any

from tests.evaluation.alarm_rides import (
    CELL,
    DRAG,
    HEALTHY,
    HEAT,
    UNEVEN,
    WEED,
    AlarmRide,
    alarm_ride,
    left_fraction,
)
from tests.evaluation.stated_engine import engine
from tests.evaluation.statistics import markdown, number, percentile, share

VARIANTS = {HEALTHY: 1.0, HEAT: 0.4, WEED: 0.4, DRAG: 0.4, CELL: 0.4, UNEVEN: 0.4}

CODE_AND_DELAY_S = {
    HEAT: ("heat_limiting", 120.0),
    WEED: ("weed", 240.0),
    DRAG: ("weed", 300.0),
    CELL: ("cell_low", 15.0),
    UNEVEN: ("cells_uneven", 60.0),
}
"""The alert of each fault and the delay stated for it [s]: once the drive gives a fifth less; once
weed came, the course held; once a cell is within 2 % of its cut-off; once cells are a tenth further
apart than the limit."""

LEFT_TOLERANCE = 0.08
"""Energy left may be off by this share of full: two standard deviations of what is stated."""


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Make a ride, fold it, and return the alerts raised."""
    made = alarm_ride(seed, craft, variant)
    tested = engine(made.world.stated, made.saved)
    tested.fold(made.block)
    events = [(event.t_s, event.alert.code.code) for event in tested.events]
    return {
        "craft": made.world.name,
        "kind": made.kind,
        "hours": made.hours,
        "fault_s": made.fault_s,
        "events": [[t_s, code, _is_due(made, t_s, code)] for t_s, code in events],
    }


def _is_due(made: AlarmRide, t_s: float, code: str) -> bool:
    """Return whether an alert is due at a time although nothing is broken."""
    last = len(made.low_cell_v) - 1
    span = slice(max(min(round((t_s - 20.0) / 0.2), last), 0), min(round(t_s / 0.2), last) + 1)
    stated = made.world.stated
    left = left_fraction(made, span.stop - 1)
    volts_v = float(made.pack_v[span].min())
    return {
        "near_cutoff": volts_v < 1.04 * stated.cutoff_v,
        "cell_low": float(made.low_cell_v[span].min()) < 1.04 * stated.cutoff_v / stated.cells,
        "energy_low": left < 0.1 + LEFT_TOLERANCE,
        "reserve_reached": left < LEFT_TOLERANCE or volts_v < 1.1 * stated.cutoff_v,
        # The owner's statement is off by more than can be expected.
        "battery_contradicted": abs(made.start_off) > 2.5 * stated.start_sd,
        "drive_hot": float(made.columns["drive_degc"][span].max()) > 80.0,
        # Of the closed loop's case.
        "turn_back": True,
    }.get(code, False)


def table(rows: list[dict[str, Any]]) -> str:
    """Return the tables of false alarms by code, and of faults found."""
    healthy = [row for row in rows if row["variant"] == HEALTHY]
    hours = sum(row["hours"] for row in healthy)
    false, due, rides = Counter[str](), Counter[str](), Counter[str]()
    for row in healthy:
        false.update(code for _, code, is_due in row["events"] if not is_due)
        due.update(code for _, code, is_due in row["events"] if is_due)
        rides.update({code for _, code, is_due in row["events"] if not is_due})
    lines = [
        [
            code,
            str(false[code]),
            str(rides[code]),
            number(315.0 * false[code] / hours, 1),
            str(due[code]),
        ]
        for code in sorted(false | due)
    ]
    head = ("alert", "false", "in rides", "false in 315 h", "due")
    title = f"alarms on rides in order: {len(healthy)} rides, {hours:.0f} h"
    return "\n".join([markdown(title, head, lines), _faults(rows)])


def _faults(rows: list[dict[str, Any]]) -> str:
    lines = []
    for variant, (code, delay_s) in CODE_AND_DELAY_S.items():
        days = [row for row in rows if row["variant"] == variant and row["fault_s"] is not None]
        lags = [lag for row in days if (lag := _lag_s(row, code)) is not None]
        early = sum(_is_early(row, code) for row in days)
        lines.append(
            [
                variant,
                code,
                f"{delay_s:.0f} s",
                str(len(days)),
                share(sum(lag <= delay_s for lag in lags), len(days)),
                number(percentile(lags, 50), 0),
                number(percentile(lags, 95), 0),
                str(early),
            ]
        )
    head = (
        "fault", "alert", "stated delay", "days", "found in time", "median delay [s]",
        "95th percentile [s]", "raised before",
    )  # fmt: skip
    return markdown("alarms on days with a fault", head, lines)


def _lag_s(row: dict[str, Any], code: str) -> float | None:
    """Return the delay of the first alert after the fault began; None if it never came."""
    began_s, due_s = row["fault_s"]
    return min(
        (t_s - due_s for t_s, name, _ in row["events"] if name == code and t_s > began_s),
        default=None,
    )


def _is_early(row: dict[str, Any], code: str) -> bool:
    return any(t_s <= row["fault_s"][0] for t_s, name, _ in row["events"] if name == code)
