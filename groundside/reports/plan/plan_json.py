"""A plan as JSON for other programs."""

from typing import Any

from groundside.reports.plan.planned_pack import Planned, PlannedPack
from groundside.studies.plan import PlanRow, best_row
from onboard.contract.codec import plain
from onboard.contract.figure import Unknown

SCHEMA = 2


def as_json(plan: Planned) -> dict[str, Any]:
    """Return the first pack's plan, and those of all packs under `packs`."""
    packs: list[dict[str, Any]] = [
        {
            "battery_wh": pack.packs.battery.full_wh,
            "packs": pack.packs.count,
            "start_fraction": pack.packs.battery.start_fraction,
            "arrives": pack.arrives,
            **_rows(pack),
        }
        for pack in plan.packs
    ]
    kind = "over_ground" if plan.is_over_ground else "through_water"
    return {"schema": SCHEMA, "speed_kind": kind, **_rows(plan.packs[0]), "packs": packs}


def _rows(pack: PlannedPack) -> dict[str, Any]:
    limits = {
        "leave_with": [
            {"chance": chance, "fraction": fraction} for chance, fraction in pack.leave_with.items()
        ],
        "turn_round": [
            {"chance": chance, "distance_m": metres} for chance, metres in pack.turn_round_m.items()
        ],
    }
    if isinstance(pack.rows, Unknown):
        return {"rows": [], "best": None, **limits, "why": {"best": plain(pack.rows)}}
    return {"rows": [_row(row) for row in pack.rows], "best": _row(best_row(pack.rows)), **limits}


def _row(row: PlanRow) -> dict[str, Any]:
    energy, took = row.energy_wh, row.took
    return {
        "speed_mps": row.speed_mps,
        "through_water_mps": row.through_water_mps,
        "time_s": row.time_s,
        "power_w": row.power_w,
        "energy_wh": {"value": energy.value, "low": energy.low, "high": energy.high},
        "left_wh": row.left_wh,
        "arrive_fraction": row.arrive_fraction,
        "extrapolated": row.extrapolated,
        "rides_took": took
        and {
            "wh_per_km": took.wh_per_km,
            "sd_wh_per_km": took.sd_wh_per_km,
            "seconds_s": took.seconds_s,
        },
    }
