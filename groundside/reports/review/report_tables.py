"""A review as tables of text, shared by the terminal, plain lines and the HTML page."""

from collections.abc import Callable, Sequence

from groundside.reports.report_table import WIDE, Cell, ReportTable, TableColumn
from groundside.studies.review_result import LogEvent, Review
from groundside.words.figures import (
    Reading,
    clock_text,
    duration_text,
    interval_text,
    one_decimal,
    percent,
    three_figures,
)
from groundside.words.learned import rests_on_text
from groundside.words.log_remarks import event_text
from groundside.words.readings import reading
from groundside.words.reasons import reason_text
from groundside.words.trip_sums import trip_rows
from groundside.words.units import Units
from groundside.words.water import water_text
from onboard.contract.codec import clean
from onboard.contract.figure import Estimate, Unknown, within
from onboard.efficiency.trip.speed_bands import SpeedBand

CAUTION = (
    "From this ride's own sensors; another day's wind, waves, load and cold are not in it. Keep "
    "the reserve, tell somebody ashore, and heed the local rules."
)
DOWN_TO = "usable, range and time left: down to the reserve, or to the cut-off under load"
OVER_GROUND = "speeds over ground"
BRIEF_S = 10.0
"""Time below which a speed band is joined to a neighbour [s]. Common practice, no source."""
JOINED = f"; bands under {BRIEF_S:.0f} s are joined to a neighbour"

NAME_AND_FIGURE = (TableColumn("", right=False), TableColumn("", right=False))
"""Columns of a table without column titles."""


def trip_table(review: Review, units: Units) -> ReportTable:
    """Return the trip's sums."""
    rows = tuple(
        (Cell(name), Cell(text, interval)) for name, text, interval in trip_rows(review.trip, units)
    )
    return ReportTable("trip", NAME_AND_FIGURE, rows)


def further_tables(review: Review, units: Units) -> list[ReportTable]:
    """Return the tables after the trip's: speed bands, battery, set and drift."""
    return [_bands(review, units), _battery(review, units), _water(review, units)]


def event_line(event: LogEvent, units: Units) -> str:
    """Return an event's text, on one line."""
    return clean(event_text(event.what, units))


def events_table(review: Review, units: Units) -> ReportTable:
    """Return the alerts raised and the remarks on the log."""
    rows = []
    for event in review.events:
        at = clock_text(event.t_s) if event.t_s > 0.0 else ""
        rows.append((Cell(at), Cell(event_line(event, units))))
    if not rows:
        return ReportTable("events", notes=("none",))
    return ReportTable("events", NAME_AND_FIGURE, tuple(rows))


def figure_cell(figure: Reading, write: Callable[[float], str], unit: str = "") -> Cell:
    """Return a figure with its unit and interval, or `unknown` with the reason."""
    if figure.value is None:
        return Cell(f"unknown ({figure.why})")
    return Cell(f"{write(figure.value)} {unit}".rstrip(), interval_text(figure, write))


def _bands(review: Review, units: Units) -> ReportTable:
    columns = (
        TableColumn(units.speed_name, right=False),
        TableColumn("time"),
        TableColumn(units.distance_name, from_width=WIDE),
        TableColumn("Wh", from_width=WIDE),
        TableColumn("mean W", from_width=WIDE),
        TableColumn(units.consumption_name),
    )
    bands, joined = round_bands(review, units)
    rows = tuple(_band(band, units) for band in bands)
    if not rows:
        return ReportTable("speed bands", notes=("power and speed are not known at the same time",))
    return ReportTable("speed bands", columns, rows, notes=(OVER_GROUND + JOINED * joined,))


def round_bands(review: Review, units: Units) -> tuple[Sequence[SpeedBand], bool]:
    """Return bands over ground of a round width in the reader's units, and whether any is joined.

    Parameters
    ----------
    review
        The log's review.
    units
        The reader's units.
    """
    width_mps = units.speed_band * units.speed_unit_mps
    bands = review.ridden.bands(width_mps, BRIEF_S)
    return bands, len(bands) < len(review.ridden.bands(width_mps))


def _band(band: SpeedBand, units: Units) -> tuple[Cell, ...]:
    low, high = units.speed(band.speed_low_mps), units.speed(band.speed_high_mps)
    decimals = next(digits for digits in range(3) if (units.speed_band * 10**digits).is_integer())
    cost = reading(band.wh_per_km, units)

    def consumption(value: float) -> str:
        return three_figures(units.consumption(value))

    return (
        Cell(f"{low:.{decimals}f} to {high:.{decimals}f}"),
        Cell(clock_text(band.seconds)),
        Cell(f"{units.distance(band.distance_m):.2f}"),
        Cell(f"{band.energy_wh:.1f}"),
        Cell(f"{3600.0 * band.energy_wh / band.seconds:.0f}"),
        Cell(
            cost.why if cost.value is None else consumption(cost.value),
            interval_text(cost, consumption),
        ),
    )


def _battery(review: Review, units: Units) -> ReportTable:
    battery = review.battery
    if isinstance(battery, Unknown):
        return ReportTable("battery at the end", notes=(reason_text(battery, units),))

    def distance(value_m: float) -> str:
        return three_figures(units.distance(value_m))

    rows: tuple[tuple[str, Estimate, Callable[[float], str], str], ...] = (
        ("usable", battery.left_wh, one_decimal, "Wh"),
        ("usable, of full", battery.left_fraction, percent, ""),
        ("charge", battery.charge_fraction, percent, ""),
        ("resistance", battery.resistance_ohm, _milliohm, "mohm"),
        ("capacity", within(battery.learned, lambda it: it.capacity_ah), one_decimal, "Ah"),
        ("current scale", within(battery.learned, lambda it: it.current_scale), _scale, ""),
        ("range", review.range_m, distance, units.distance_name),
        ("time left", review.time_left_s, duration_text, ""),
    )
    cells = tuple(
        (Cell(name), figure_cell(reading(figure, units), write, unit))
        for name, figure, write, unit in rows
    )
    learned = battery.learned
    rests_on = () if isinstance(learned, Unknown) else (rests_on_text(learned),)
    notes = (DOWN_TO, *rests_on)
    return ReportTable("battery at the end", NAME_AND_FIGURE, cells, notes=notes)


def _scale(value: float) -> str:
    return f"{value:.3f}"


def _milliohm(value_ohm: float) -> str:
    return one_decimal(1000.0 * value_ohm)


def _water(review: Review, units: Units) -> ReportTable:
    water = review.set_and_drift
    notes = (water_text(water, units),)
    if isinstance(water, Unknown):
        return ReportTable("set and drift", notes=notes)

    def speed(value_mps: float) -> str:
        return f"{units.speed(value_mps):.2f}"

    rows = tuple(
        (
            Cell(f"towards {name}"),
            figure_cell(reading(figure, units), speed, units.speed_name),
        )
        for name, figure in (("east", water.east_mps), ("north", water.north_mps))
    )
    return ReportTable("set and drift", NAME_AND_FIGURE, rows, notes=notes)
