"""Coverage and width of intervals, at one instant of each of many independent rides.

`saved_ride(seed, kind, craft, keep)` returns a ride with its truth, which is simulated once; see
`saved_rides.py`.
"""

import math
from pathlib import Path
from typing import Any

from tests.evaluation.riders import KINDS
from tests.evaluation.saved_rides import SINCE_S, NoInstantError, SavedRide, saved_ride
from tests.evaluation.stated_engine import engine, figure
from tests.evaluation.statistics import markdown, number, percent, percentile, share

__all__ = ["FIGURES", "VARIANTS", "SavedRide", "keep_rides", "ride", "saved_ride", "table"]

FIGURES = {
    "energy": "trip.energy_wh",
    "distance": "trip.distance_m",
    "wh_per_km_20_s": "wh_per_km.last_20_s",
    "wh_per_km_300_s": "wh_per_km.last_300_s",
    "wh_per_km_trip": "trip.wh_per_km",
    "left": "battery.left_wh",
    "time_left": "time_left_s",
    "range": "range_m.now",
}

VARIANTS = dict.fromkeys(KINDS, 0.25)

_KEEP: list[Path] = []
"""The folder in which rides are saved, if any."""


def keep_rides(folder: Path | None) -> None:
    """Save rides in a folder, and take them from it."""
    _KEEP[:] = [folder] if folder else []


def ride(seed: int, craft: str | None, variant: str) -> dict[str, Any]:
    """Ride to a drawn instant; return the engine's figures with what is true."""
    try:
        saved = saved_ride(seed, variant, craft, _KEEP[0] if _KEEP else None)
    except NoInstantError as error:
        return {"why": str(error)}
    tested = engine(saved.stated)
    tested.fold(saved.block)
    figures = tested.figures()
    return {
        **saved.meta,
        "figures": {
            name: {
                **figure(figures, path),
                "true": saved.true[name],
                "informed_sd": saved.informed_sd.get(name),
            }
            for name, path in FIGURES.items()
        },
    }


def table(rows: list[dict[str, Any]]) -> str:
    """Return the tables: of all figures, then of range and time left by rider and by time."""
    good = [row for row in rows if "figures" in row]
    head = (
        "figure", "rides", "known", "coverage of 95 % [limits]", "median error", "95th percentile",
        "median half-width", "informed", "median ratio",
    )  # fmt: skip
    first = markdown(
        f"coverage: {len(good)} rides ({len(rows) - len(good)} without such an instant)",
        head,
        [_line(name, name, good) for name in FIGURES],
    )
    parts: list[tuple[str, list[dict[str, Any]]]] = [("all", good)]
    parts += [(kind, [row for row in good if row["kind"] == kind]) for kind in KINDS]
    for low_s, high_s in SINCE_S:
        since = [row for row in good if low_s <= row["since_s"] < high_s]
        parts.append((f"{low_s:.0f} to {high_s:.0f} s", since))
    lines = [
        [name, *_line(label, name, part, full)]
        for name, full in (("range", "full_m"), ("time_left", "full_s"))
        for label, part in parts
    ]
    titled = markdown("errors as a share of the full pack's", ("of", "rides of", *head[1:]), lines)
    return first + "\n" + titled


def _line(label: str, name: str, rows: list[dict[str, Any]], full: str | None = None) -> list[str]:
    """Return a row; errors and widths are relative to the truth, or to one of a full pack."""
    rows = [{**row, "figures": {name: _scaled(row, name, full)}} for row in rows]
    answers = [row["figures"][name] for row in rows if row["figures"][name]["true"] is not None]
    known = [answer for answer in answers if "value" in answer]
    judged = [answer for answer in known if answer.get("low") is not None]
    hits = sum(answer["low"] <= answer["true"] <= answer["high"] for answer in judged)
    error = [abs(a["value"] - a["true"]) / a["scale"] for a in known if a["true"] > 0.0]
    tested = [_half(a) for a in judged if a["true"] > 0.0]
    informed = [_informed(a) for a in known if a["informed_sd"] and a["true"] > 0.0]
    ratios = [_half(a) / _informed(a) for a in judged if a["informed_sd"] and a["true"] > 0.0]
    return [
        label,
        str(len(answers)),
        percent(len(known) / len(answers) if answers else math.nan),
        share(hits, len(judged)),
        percent(percentile(error, 50), 2),
        percent(percentile(error, 95), 1),
        percent(percentile(tested, 50), 2),
        percent(percentile(informed, 50), 2),
        number(percentile(ratios, 50)),
    ]


def _half(answer: dict[str, Any]) -> float:
    return float(answer["high"] - answer["low"]) / 2.0 / float(answer["scale"])


def _informed(answer: dict[str, Any]) -> float:
    return 1.96 * float(answer["informed_sd"]) / float(answer["scale"])


def _scaled(row: dict[str, Any], name: str, full: str | None) -> dict[str, Any]:
    answer = row["figures"][name]
    return {**answer, "scale": row[full] if full else answer["true"]}
