"""Coverage and width of intervals, at one instant of each of many independent rides.

`saved_ride(seed, kind, craft, keep)` returns a ride with its truth, which is simulated once; see
`saved_rides.py`.
"""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import norm

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

FULL = {"range": "full_m", "time_left": "full_s"}
"""Figures shown by rider, and those of the full pack that their errors are a share of."""

DRAWN_WIDTH = 0.5
"""Widest interval, as a share of the value, with which a figure is drawn large."""

Z_95 = 1.959964
"""97.5 % quantile of the normal distribution (tables)."""

NORMAL = norm.ppf((np.arange(100) + 0.5) / 100.0)

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
    every = [_line(name, [Answer.of(row, name) for row in good]) for name in FIGURES]
    title = f"coverage: {len(good)} rides ({len(rows) - len(good)} without such an instant)"
    tables = [markdown(title, ("figure", *HEAD), every)]
    for name, full in FULL.items():
        lines = [
            _line(label, [Answer.of(row, name, full) for row in part])
            for label, part in _parts(good)
        ]
        tables.append(
            markdown(f"{name}: errors as a share of the full pack's", ("rides", *HEAD), lines)
        )
        tables.append(_cross(name, good))
    return "\n".join(tables)


HEAD = (
    "number", "known", "coverage of 95 % [limits]", "median error", "over informed",
    "95th percentile", "over informed", "median half width", "over informed (median ratio)",
    "drawn large", "informed",
)  # fmt: skip
"""Columns. An error over the informed one: percentiles of both. Drawn large: the interval is at
most half as wide as the value, of all rides, for the engine and for the informed estimator."""


@dataclass(frozen=True)
class Answer:
    """A figure of one ride beside the truth; `scale` is what errors are a share of."""

    value: float
    low: float
    high: float
    true: float
    informed_sd: float
    scale: float

    @classmethod
    def of(cls, row: dict[str, Any], name: str, full: str | None = None) -> "Answer":
        """Return a figure of a row; NaN where something is unknown."""
        found = row["figures"][name]
        known = {
            key: math.nan if found.get(key) is None else float(found[key])
            for key in ("value", "low", "high", "true", "informed_sd")
        }
        return cls(**known, scale=row[full] if full else known["true"])

    @property
    def drawn(self) -> bool:
        """Whether a screen may draw the value large."""
        return self.high - self.low <= DRAWN_WIDTH * self.value

    @property
    def informed_drawn(self) -> bool:
        """Whether it might draw the informed estimator's."""
        return 2.0 * Z_95 * self.informed_sd <= DRAWN_WIDTH * self.true


def _parts(rows: list[dict[str, Any]]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return the rides in parts: all, by rider, by time since a change, and others of interest."""
    parts = [("all", rows)]
    parts += [(kind, [row for row in rows if row["kind"] == kind]) for kind in KINDS]
    parts += [(_since(span), [row for row in rows if _is_in(span, row)]) for span in SINCE_S]
    for label, key in (("throttle reported", "throttle"), ("cold", "cold")):
        parts += [
            (f"{label}: {answer}", [row for row in rows if row[key] is told])
            for answer, told in (("yes", True), ("no", False))
        ]
    return parts


def _since(span: tuple[float, float]) -> str:
    return f"{span[0]:.0f} to {span[1]:.0f} s"


def _is_in(span: tuple[float, float], row: dict[str, Any]) -> bool:
    return bool(span[0] <= row["since_s"] < span[1])


def _cross(name: str, rows: list[dict[str, Any]]) -> str:
    """Return the coverage by rider and time since a change."""
    lines = []
    for kind in KINDS:
        cells = []
        for span in SINCE_S:
            part = [row for row in rows if row["kind"] == kind and _is_in(span, row)]
            judged = [a for a in (Answer.of(row, name) for row in part) if a.low == a.low]
            cells.append(share(sum(a.low <= a.true <= a.high for a in judged), len(judged)))
        lines.append([kind, *cells])
    return markdown(f"{name}: coverage", ("rider", *(_since(span) for span in SINCE_S)), lines)


def _line(label: str, answers: list[Answer]) -> list[str]:
    answers = [a for a in answers if a.true > 0.0 and a.scale > 0.0]
    known = [a for a in answers if math.isfinite(a.value)]
    judged = [a for a in known if math.isfinite(a.low)]
    hits = sum(a.low <= a.true <= a.high for a in judged)
    error = [abs(a.value - a.true) / a.scale for a in known]
    informed_sd = [a.informed_sd / a.scale for a in known]
    # What the informed estimator's errors would be: normal, each with its own spread.
    informed = np.abs(np.outer(informed_sd, NORMAL)).ravel()
    half = [(a.high - a.low) / 2.0 / a.scale for a in judged]
    ratios = [(a.high - a.low) / 2.0 / (Z_95 * a.informed_sd) for a in judged if a.informed_sd]
    count = len(answers)
    return [
        label,
        str(count),
        percent(len(known) / count if count else math.nan),
        share(hits, len(judged)),
        percent(percentile(error, 50), 2),
        number(percentile(error, 50) / percentile(informed, 50)),
        percent(percentile(error, 95), 1),
        number(percentile(error, 95) / percentile(informed, 95)),
        percent(percentile(half, 50), 2),
        number(percentile(ratios, 50)),
        percent(sum(a.drawn for a in answers) / count if count else math.nan, 0),
        percent(sum(a.informed_drawn for a in answers) / count if count else math.nan, 0),
    ]
