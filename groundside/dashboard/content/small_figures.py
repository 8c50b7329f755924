"""The small figures of the ride view: a row for each, most important first."""

from collections.abc import Callable

from groundside.words.figures import (
    UNKNOWN,
    consumption_text,
    duration_text,
    interval_text,
    one_decimal,
    three_figures,
    whole,
)
from groundside.words.readings import reading
from groundside.words.units import Units
from onboard.contract.figure import Estimate, Number, within
from onboard.contract.snapshot import Snapshot
from onboard.dataclass import dataclass


@dataclass(frozen=True)
class SmallFigure:
    """A small figure: name, text, interval if stated, whether it is known, and why not."""

    label: str
    text: str
    interval: str = ""
    known: bool = True
    why: str = ""


@dataclass(frozen=True)
class Format:
    """How to write a quantity, and the unit after it, both in the rider's units."""

    write: Callable[[float, Units], str]
    unit: Callable[[Units], str]


def plain(write: Callable[[float], str], unit: str = "") -> Format:
    """Return the format of a quantity whose unit does not depend on the rider."""
    return Format(lambda value, _: write(value), lambda _: unit)


SPEED = Format(lambda mps, units: one_decimal(units.speed(mps)), lambda units: units.speed_name)
DISTANCE = Format(
    lambda metres, units: three_figures(units.distance(metres)), lambda units: units.distance_name
)
COST = Format(consumption_text, lambda units: units.consumption_name)
WATTS, WATT_HOURS, DURATION = plain(whole, "W"), plain(whole, "Wh"), plain(duration_text)
PERCENT = plain(lambda fraction: whole(100.0 * fraction), "%")


@dataclass(frozen=True)
class FigureRow:
    """A row of the table.

    Parameters
    ----------
    label
        Its name on the screen.
    read
        Reads it from a snapshot.
    format
        How to write it.
    optional
        Whether to omit it while unknown, as only some crafts have it.
    """

    label: str
    read: Callable[[Snapshot], Estimate | Number]
    format: Format
    optional: bool = False


ROWS = (
    FigureRow("power", lambda now: now.power_w, WATTS),
    FigureRow("speed", lambda now: now.speed_mps, SPEED),
    FigureRow("usable", lambda now: within(now.battery, lambda it: it.left_wh), WATT_HOURS),
    FigureRow("distance", lambda now: now.trip.distance_m, DISTANCE),
    FigureRow("used", lambda now: now.trip.energy_wh, WATT_HOURS),
    FigureRow("time", lambda now: now.trip.elapsed_s, DURATION),
    FigureRow("5 min", lambda now: now.wh_per_km.last_300_s, COST),
    FigureRow("trip", lambda now: now.wh_per_km.trip, COST),
    FigureRow("charge", lambda now: within(now.battery, lambda it: it.charge_fraction), PERCENT),
    FigureRow("lasts", lambda now: now.time_left_s, DURATION),
    FigureRow("pack", lambda now: now.volts_v, plain(one_decimal, "V")),
    FigureRow("draw", lambda now: now.amps_a, plain(one_decimal, "A")),
    FigureRow("mark", lambda now: now.wh_per_km.since_mark, COST, optional=True),
    FigureRow("best at", lambda now: now.best_speed_mps, SPEED, optional=True),
    FigureRow(
        "motor",
        lambda now: within(now.drive, lambda it: it.temperature_degc),
        plain(whole, "°C"),
        optional=True,
    ),
    FigureRow(
        "turns",
        lambda now: within(now.drive, lambda it: it.rpm),
        plain(whole, "rpm"),
        optional=True,
    ),
)
"""A small terminal shows the first few; figures that only some crafts have come last.

`usable` is above the reserve, `charge` the state of charge of the whole pack; `trip` and `5 min`
are consumptions over the trip and over the last 5 min. Each label stands once.
"""


class _Last:
    """The last figures written: frame and glance ask for the same ones five times a second."""

    snapshot: Snapshot | None = None
    units: Units | None = None
    figures: tuple[SmallFigure, ...] = ()


def small_figures(snapshot: Snapshot, units: Units) -> tuple[SmallFigure, ...]:
    """Return the small figures, most important first."""
    if snapshot is not _Last.snapshot or units is not _Last.units:
        figures = [_small_figure(row, snapshot, units) for row in ROWS]
        _Last.snapshot, _Last.units = snapshot, units
        _Last.figures = tuple(
            figure
            for figure, row in zip(figures, ROWS, strict=True)
            if figure.known or not row.optional
        )
    return _Last.figures


def _small_figure(row: FigureRow, snapshot: Snapshot, units: Units) -> SmallFigure:
    figure = reading(row.read(snapshot), units)
    if figure.value is None:
        return SmallFigure(row.label, UNKNOWN, known=False, why=figure.why)

    def write(value: float) -> str:
        return row.format.write(value, units)

    text = f"{write(figure.value)} {row.format.unit(units)}".rstrip()
    return SmallFigure(row.label, text, interval_text(figure, write))


def unknown_reasons(figures: tuple[SmallFigure, ...]) -> tuple[str, ...]:
    """Return why figures are unknown: each reason once, after the names of its figures."""
    labels: dict[str, list[str]] = {}
    for figure in figures:
        if not figure.known and figure.label not in labels.setdefault(figure.why, []):
            labels[figure.why].append(figure.label)
    return tuple(f"{', '.join(names)}: {why}" for why, names in labels.items())
