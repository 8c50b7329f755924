"""Several logs in one table: a row for each, and their totals."""

import itertools
from collections.abc import Callable, Iterator, Sequence

from groundside.reports.report_table import WIDE, WIDER, Cell, ReportTable, TableColumn
from groundside.reports.review.log_names import date_text, names_of, start_of
from groundside.reports.review.parallel_review import ReviewOutcome
from groundside.reports.review.report_tables import event_line, figure_cell
from groundside.studies.review_result import Review
from groundside.studies.review_totals import Totals, totals
from groundside.words.figures import clock_text, one_decimal, three_figures, whole
from groundside.words.readings import reading
from groundside.words.units import Units, units_named
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.contract.snapshot import Trip
from onboard.dataclass import dataclass

SAME_SENSORS = (
    "consumption of all: their energy over their distance. Its 95 % interval adds up the half "
    "widths of the rides: an error of the sensors is the same in every ride and does not average "
    "out"
)
WITHOUT = {
    "energy_wh": "energy is not known in {count}: not in the sums of energy and consumption",
    "distance_m": "distance is not known in {count}: not in the sums of distance and consumption",
    "wh_per_km": "power and speed are not known over the same time in {count}: "
    "not in the consumption of all",
}


@dataclass(frozen=True)
class NamedReview:
    """A log that could be read, with a name unique among all."""

    name: str
    outcome: ReviewOutcome
    result: Review


def named_reviews(outcomes: Sequence[ReviewOutcome]) -> list[NamedReview]:
    """Return the logs that could be read, with unique names."""
    names = names_of([one.path for one in outcomes])
    return [
        NamedReview(name, one, one.result)
        for name, one in zip(names, outcomes, strict=True)
        if one.result is not None
    ]


def common_units(rides: Sequence[NamedReview], named: str | None) -> Units:
    """Return the units common to all logs: those given, else the first craft's."""
    return units_named(named or (rides[0].outcome.speed_unit if rides else ""))


def season_table(outcomes: Sequence[ReviewOutcome], units: Units) -> ReportTable:
    """Return the table of several logs.

    Parameters
    ----------
    outcomes
        The outcomes of all logs.
    units
        Units of all rows.
    """
    rides = named_reviews(outcomes)
    summed = totals([ride.result for ride in rides])
    columns = (
        TableColumn("log", right=False),
        TableColumn("date", right=False, from_width=WIDER),
        TableColumn("time", from_width=WIDE),
        TableColumn(units.distance_name),
        TableColumn("Wh", from_width=WIDE),
        TableColumn(units.consumption_name),
        TableColumn(f"mean {units.speed_name}", from_width=WIDER),
        TableColumn("mean W", from_width=WIDER),
    )
    rows = tuple(
        (Cell(ride.name), Cell(date_text(ride.result)), *_figures(ride.result.trip, units))
        for ride in rides
    )
    last = (Cell(f"all {summed.rides}"), Cell(""), *_figures(summed, units))
    return ReportTable("rides", columns, rows, last, tuple(_notes(outcomes, rides, summed, units)))


def _figures(sums: Trip | Totals, units: Units) -> list[Cell]:
    """Return a row's figures; the log's own review gives the reason for an unknown one."""

    def cell(
        figure: Estimate | Number, write: Callable[[float], str], *, spans: bool = False
    ) -> Cell:
        if isinstance(figure, Unknown):
            return Cell("unknown")
        written = figure_cell(reading(figure, units), write)
        return written if spans else Cell(written.text)

    return [
        cell(sums.elapsed_s, clock_text),
        cell(sums.distance_m, lambda value: three_figures(units.distance(value))),
        cell(sums.energy_wh, three_figures),
        cell(sums.wh_per_km, lambda value: three_figures(units.consumption(value)), spans=True),
        cell(sums.mean_speed_mps, lambda value: one_decimal(units.speed(value))),
        cell(sums.mean_power_w, whole),
    ]


def _notes(
    outcomes: Sequence[ReviewOutcome], rides: Sequence[NamedReview], summed: Totals, units: Units
) -> Iterator[str]:
    yield SAME_SENSORS
    for key, count in summed.without.items():
        if count > 0:
            yield WITHOUT[key].format(count=count_text(count))
    for place in summed.repeated:
        yield f"{rides[place].name} is a ride that was given before: it counts once"
    others = [ride for place, ride in enumerate(rides) if place not in summed.repeated]
    for one, other in _overlapping(others):
        pair = f"{one.name} and {other.name}"
        yield f"{pair} are of the same time: if it is one ride, it counts twice"
    unread = len(outcomes) - len(rides)
    if unread:
        yield f"{count_text(unread)} could not be read: not counted"
    for ride in rides:
        for event in ride.result.events:
            if not event.t_s:
                yield f"{ride.name}: {event_line(event, units)}"


def _overlapping(rides: Sequence[NamedReview]) -> Iterator[tuple[NamedReview, NamedReview]]:
    """Yield pairs of logs that share more than half of the shorter one's time."""
    dated = [(start, ride) for ride in rides if (start := start_of(ride.result)) is not None]
    dated.sort(key=lambda pair: pair[0])
    for (start, one), (later, other) in itertools.pairwise(dated):
        ahead_s = (later - start).total_seconds()
        long_s, other_s = (ride.result.log.duration_s for ride in (one, other))
        if min(long_s - ahead_s, other_s) > 0.5 * min(long_s, other_s):
            yield one, other


def count_text(count: int) -> str:
    """Return a number of logs in words."""
    return "1 log" if count == 1 else f"{count} logs"
