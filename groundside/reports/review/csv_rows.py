"""Reviews as comma-separated values: one row per log, in SI units, for spreadsheets and scripts.

Line ends and quoting follow RFC 4180. A figure has two more columns for the ends of its 95 %
interval; an unknown value is an empty cell.
"""

import csv
import io
import math
from collections.abc import Callable, Sequence
from typing import Any

from groundside.reports.review.log_names import path_text
from groundside.reports.review.parallel_review import ReviewOutcome
from groundside.studies.review_result import Review
from onboard.contract.figure import Estimate, Figure, Number, Unknown, within
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class CsvColumn:
    """A column: its name, its value in a review, and whether it has an interval."""

    name: str
    of: Callable[[Review], Estimate | Number]
    spans: bool = False


COLUMNS = (
    CsvColumn("elapsed_s", lambda one: one.trip.elapsed_s),
    CsvColumn("moving_s", lambda one: one.trip.moving_s),
    CsvColumn("distance_m", lambda one: one.trip.distance_m, spans=True),
    CsvColumn("energy_wh", lambda one: one.trip.energy_wh, spans=True),
    CsvColumn("charge_ah", lambda one: one.trip.charge_ah),
    CsvColumn("wh_per_km", lambda one: one.trip.wh_per_km, spans=True),
    CsvColumn("mean_power_w", lambda one: one.trip.mean_power_w),
    CsvColumn("mean_speed_mps", lambda one: one.trip.mean_speed_mps),
    CsvColumn("max_speed_mps", lambda one: one.trip.max_speed_mps),
    CsvColumn("bridged_energy_fraction", lambda one: one.trip.bridged_energy_fraction),
    CsvColumn("bridged_distance_fraction", lambda one: one.trip.bridged_distance_fraction),
    CsvColumn("left_wh", lambda one: within(one.battery, lambda it: it.left_wh), spans=True),
    CsvColumn(
        "left_fraction", lambda one: within(one.battery, lambda it: it.left_fraction), spans=True
    ),
    CsvColumn(
        "resistance_ohm", lambda one: within(one.battery, lambda it: it.resistance_ohm), spans=True
    ),
    CsvColumn("range_m", lambda one: one.range_m, spans=True),
    CsvColumn("time_left_s", lambda one: one.time_left_s, spans=True),
    CsvColumn(
        "water_east_mps", lambda one: within(one.set_and_drift, lambda it: it.east_mps), spans=True
    ),
    CsvColumn(
        "water_north_mps",
        lambda one: within(one.set_and_drift, lambda it: it.north_mps),
        spans=True,
    ),
)

ENDS = ("low", "high")


def header() -> list[str]:
    """Return the column names; each ends in its unit.

    Examples
    --------
    >>> header()[:8]
    ['log', 'start_utc', 'duration_s', 'elapsed_s', 'moving_s', 'distance_m', 'distance_low_m', \
'distance_high_m']
    """
    names = ["log", "start_utc", "duration_s"]
    for column in COLUMNS:
        names.append(column.name)
        if column.spans:
            names += [_end_name(column.name, end) for end in ENDS]
    return [*names, "events", "problem"]


def _end_name(name: str, end: str) -> str:
    """Return the name of an interval's end; the unit stays last.

    Examples
    --------
    >>> _end_name("left_wh", "low"), _end_name("wh_per_km", "high")
    ('left_low_wh', 'high_wh_per_km')
    """
    if name == "wh_per_km":
        return f"{end}_{name}"
    stem, _, unit = name.rpartition("_")
    return f"{stem}_{end}_{unit}"


def as_csv(outcomes: Sequence[ReviewOutcome]) -> str:
    """Return a header and a row per log; an unreadable log has only its problem.

    Parameters
    ----------
    outcomes
        The reviews.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(header())
    for one in outcomes:
        writer.writerow(_row(one))
    return out.getvalue()


def _row(one: ReviewOutcome) -> list[Any]:
    review = one.result
    if review is None:
        return [path_text(one.path), *[None] * (len(header()) - 2), one.problem]
    log = review.log
    cells: list[Any] = [path_text(one.path), _cell(log.start_utc), log.duration_s]
    for column in COLUMNS:
        value = column.of(review)
        if isinstance(value, Figure):
            cells += [_cell(end) for end in (value.value, value.low, value.high)]
        else:
            cells += [_cell(value), *([None] * len(ENDS) if column.spans else [])]
    return [*cells, len(review.events), None]


def _cell(value: float | str | Unknown | None) -> float | str | None:
    if isinstance(value, Unknown) or (isinstance(value, float) and not math.isfinite(value)):
        return None
    return value
