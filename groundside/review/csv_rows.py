"""Reviews as comma-separated values: one row a log, SI units, for spreadsheets and scripts.

Lines end as RFC 4180 has it, and what holds a comma, a quote or a line break is quoted. A figure
has two more columns for the ends of its 95 % interval; a cell is empty where nothing is known.
"""

import csv
import io
from collections.abc import Sequence
from typing import Any

from groundside.review.many import Reviewed
from groundside.review.names import written

FIGURE, NUMBER = True, False

COLUMNS: tuple[tuple[tuple[str, ...], str, bool], ...] = (
    (("trip", "elapsed_s"), "elapsed_s", NUMBER),
    (("trip", "moving_s"), "moving_s", NUMBER),
    (("trip", "distance_m"), "distance_m", FIGURE),
    (("trip", "energy_wh"), "energy_wh", FIGURE),
    (("trip", "charge_ah"), "charge_ah", NUMBER),
    (("trip", "wh_per_km"), "wh_per_km", FIGURE),
    (("trip", "mean_power_w"), "mean_power_w", NUMBER),
    (("trip", "mean_speed_mps"), "mean_speed_mps", NUMBER),
    (("trip", "max_speed_mps"), "max_speed_mps", NUMBER),
    (("trip", "bridged_energy_fraction"), "bridged_energy_fraction", NUMBER),
    (("trip", "bridged_distance_fraction"), "bridged_distance_fraction", NUMBER),
    (("battery", "left_wh"), "left_wh", FIGURE),
    (("battery", "left_fraction"), "left_fraction", FIGURE),
    (("battery", "resistance_ohm"), "resistance_ohm", FIGURE),
    (("range_m",), "range_m", FIGURE),
    (("time_left_s",), "time_left_s", FIGURE),
    (("set_and_drift", "east_mps"), "water_east_mps", FIGURE),
    (("set_and_drift", "north_mps"), "water_north_mps", FIGURE),
)
"""Where a value stands in the review, its column, and whether it has an interval."""

ENDS = ("low", "high")


def header() -> list[str]:
    """Give the names of the columns; each ends in its unit.

    Examples
    --------
    >>> header()[:8]
    ['log', 'start_utc', 'duration_s', 'elapsed_s', 'moving_s', 'distance_m', 'distance_low_m', \
'distance_high_m']
    """
    names = ["log", "start_utc", "duration_s"]
    for _, name, is_figure in COLUMNS:
        names.append(name)
        if is_figure:
            names += [_end_name(name, end) for end in ENDS]
    return [*names, "events", "problem"]


def _end_name(name: str, end: str) -> str:
    """Put the end before the unit.

    Examples
    --------
    >>> _end_name("left_wh", "low"), _end_name("wh_per_km", "high")
    ('left_low_wh', 'high_wh_per_km')
    """
    if name == "wh_per_km":
        return f"{end}_{name}"
    stem, _, unit = name.rpartition("_")
    return f"{stem}_{end}_{unit}"


def as_csv(reviewed: Sequence[Reviewed]) -> str:
    """Give the header and a row for each log; one that could not be read has its problem alone.

    Parameters
    ----------
    reviewed
        The reviews.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(header())
    for one in reviewed:
        writer.writerow(_row(one))
    return out.getvalue()


def _row(one: Reviewed) -> list[Any]:
    result = one.result
    if result is None:
        return [written(one.path), *[None] * (len(header()) - 2), one.problem]
    cells: list[Any] = [written(one.path), result["log"]["start_utc"], result["log"]["duration_s"]]
    for where, _, is_figure in COLUMNS:
        value: Any = result
        for key in where:
            value = value.get(key) if isinstance(value, dict) else None
        if is_figure:
            figure = value if isinstance(value, dict) else {}
            cells += [figure.get(key) for key in ("value", *ENDS)]
        else:
            cells.append(value)
    return [*cells, len(result["events"]), None]
