"""Several logs in words: a row each, and what they come to together."""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from groundside.reports.review.many import Reviewed
from groundside.reports.review.names import date_text, names_of, start_of
from groundside.reports.review.sections import (
    WIDE,
    WIDER,
    Cell,
    Column,
    Section,
    event_words,
    figure_cell,
)
from groundside.studies.review_result import Review
from groundside.studies.review_totals import Totals, totals
from groundside.words.figures import clock_text, one_decimal, three_figures, whole
from groundside.words.readings import reading
from groundside.words.units import Units, units_named
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.contract.snapshot import Trip

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
class Named:
    """A log that could be read, with the name it goes by."""

    name: str
    reviewed: Reviewed
    result: Review


def readable(reviewed: Sequence[Reviewed]) -> list[Named]:
    """Return the logs that have a review, named so that they can be told apart."""
    names = names_of([one.path for one in reviewed])
    return [
        Named(name, one, one.result)
        for name, one in zip(names, reviewed, strict=True)
        if one.result is not None
    ]


def common_units(rides: Sequence[Named], asked: str | None) -> Units:
    """Return the units for what is said of all: those asked for, else the first craft's."""
    return units_named(asked or (rides[0].reviewed.speed_unit if rides else ""))


def season_section(reviewed: Sequence[Reviewed], units: Units) -> Section:
    """Return the table of several logs.

    Parameters
    ----------
    reviewed
        All that were asked for.
    units
        What it is told in.
    """
    rides = readable(reviewed)
    summed = totals([ride.result for ride in rides])
    columns = (
        Column("log", right=False),
        Column("date", right=False, from_width=WIDER),
        Column("time", from_width=WIDE),
        Column(units.distance_name),
        Column("Wh", from_width=WIDE),
        Column(units.consumption_name),
        Column(f"mean {units.speed_name}", from_width=WIDER),
        Column("mean W", from_width=WIDER),
    )
    rows = tuple(
        (
            Cell(ride.name),
            Cell(date_text(ride.result)),
            *_figures(ride.result.trip, units),
        )
        for ride in rides
    )
    last = (
        Cell(f"all {summed.rides}"),
        Cell(""),
        *_figures(summed, units),
    )
    return Section("rides", columns, rows, last, tuple(_notes(reviewed, rides, summed, units)))


def _figures(sums: Trip | Totals, units: Units) -> list[Cell]:
    """Write a row's figures; the reasons of what is unknown stand in the log's own review."""

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
    reviewed: Sequence[Reviewed], rides: Sequence[Named], summed: Totals, units: Units
) -> list[str]:
    notes = [SAME_SENSORS]
    for key, count in summed.without.items():
        if count > 0:
            notes.append(WITHOUT[key].format(count=counted(count)))
    for place in summed.repeated:
        notes.append(f"{rides[place].name} is a ride that was given before: it counts once")
    others = [ride for place, ride in enumerate(rides) if place not in summed.repeated]
    notes += [
        f"{one.name} and {other.name} are of the same time: if it is one ride, it counts twice"
        for one, other in _overlapping(others)
    ]
    unread = len(reviewed) - len(rides)
    if unread:
        notes.append(f"{counted(unread)} could not be read: not counted")
    for ride in rides:
        notes += [
            f"{ride.name}: {event_words(event, units)}"
            for event in ride.result.events
            if not event.t_s
        ]
    return notes


def _overlapping(rides: Sequence[Named]) -> Iterator[tuple[Named, Named]]:
    """Return pairs of logs that cover the same time for the most part of the shorter of them."""
    dated = [(start, ride) for ride in rides if (start := start_of(ride.result)) is not None]
    dated.sort(key=lambda pair: pair[0])
    for (start, one), (later, other) in itertools.pairwise(dated):
        ahead_s = (later - start).total_seconds()
        long_s, other_s = (ride.result.log.duration_s for ride in (one, other))
        if min(long_s - ahead_s, other_s) > 0.5 * min(long_s, other_s):
            yield one, other


def counted(count: int) -> str:
    """Write how many logs."""
    return "1 log" if count == 1 else f"{count} logs"
