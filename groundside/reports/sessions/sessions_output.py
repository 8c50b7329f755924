"""A season as lines for people and as JSON for other programs."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from groundside.reports.sessions.filters import started
from groundside.reports.text_layout import (
    aligned,
    figure_text,
    flowed,
    paragraph,
    printable,
    table_lines,
)
from groundside.studies.rides import SeasonRide, SeasonTotals, SetupTotals, setup_totals, totals
from groundside.words.figures import UNKNOWN, clock_text, consumption_text, three_figures
from groundside.words.units import Units
from onboard.contract.codec import WHY, plain
from onboard.contract.figure import Estimate, Figure, Number, Unknown
from onboard.efficiency.curve.learner import PLAIN_SETUP

SCHEMA = 2

LONGEST_NAME = 32
"""Length to which names and set-ups are cut; labels, last in a row, stay whole."""

NO_COMPARISON = (
    "This is no comparison: power, wind, water and load differed from ride to ride. To know "
    "whether a set-up is better, ride double runs at equal power and use `compare`."
)
OPEN_MARK = "*"
OPEN_REMARK = f"{OPEN_MARK} not closed: it goes on, or was cut off; read up to now"


def as_json(rides: Sequence[SeasonRide], by_setup: bool) -> dict[str, Any]:
    """Return rides, their totals and, on request, the totals of each set-up."""
    stated: dict[str, Any] = {
        "schema": SCHEMA,
        "sessions": [_ride(ride) for ride in rides],
        "totals": _totals(totals(rides)),
    }
    if by_setup:
        stated["setups"] = [_setup(one) for one in setup_totals(rides)]
        stated["remark"] = NO_COMPARISON
    return stated


def _ride(ride: SeasonRide) -> dict[str, Any]:
    sums: dict[str, Any] = plain(ride.sums)
    shares, why = sums.pop("shares"), sums.pop(WHY, None)
    stated = {
        "path": _valid_text(str(ride.path)),
        "name": _valid_text(ride.name),
        **sums,
        "setups": shares,
        "label": ride.label or None,
        "is_open": ride.is_open,
        "problem": ride.problem,
    }
    return stated | ({WHY: why} if why else {})


def _totals(sums: SeasonTotals) -> dict[str, Any]:
    stated: dict[str, Any] = plain(sums)
    return {
        "sessions": stated.pop("rides"),
        "sessions_in_ratio": stated.pop("rides_in_ratio"),
        **stated,
    }


def _setup(one: SetupTotals) -> dict[str, Any]:
    stated: dict[str, Any] = plain(one)
    return {"setup": stated.pop("setup"), "sessions": stated.pop("rides"), **stated}


def _valid_text(text: str) -> str:
    """Return a name as valid text, whatever bytes it consists of."""
    return text.encode("utf-8", "backslashreplace").decode()


def as_lines(
    rides: Sequence[SeasonRide], all_rides: int, units: Units, width: int | None
) -> Iterator[str]:
    """Yield the lines of a list of rides.

    Parameters
    ----------
    rides
        The rides to list, in order.
    all_rides
        Number of rides before filtering.
    units
        The rider's units.
    width
        Width of the screen in columns; None for no limit.
    """
    rows = [_cells(ride, units) for ride in rides]
    if not rides:
        yield f"none of {all_rides} {_rides(all_rides)} is like that"
        return
    head = ["date", "name", "time", units.distance_name, "Wh", units.consumption_name]
    table = list(table_lines([[*head, "set-ups", "label"], *rows], range(2, 6)))
    if width is None or max(map(len, table)) <= width:
        yield from table
    else:
        for row in rows:
            yield from _flowed_row(row, units, width)
    yield ""
    remarks = []
    if any(ride.is_open for ride in rides):
        remarks.append(OPEN_REMARK)
    remarks += [f"{_clean(ride.name)}: {_clean(ride.problem)}" for ride in rides if ride.problem]
    if any(started(ride) is not None for ride in rides):
        remarks.append("dates and times are UTC")
    yield from _sum_lines(totals(rides), all_rides, units, width)
    for remark in remarks:
        yield from paragraph(remark, width)


def setup_lines(rides: Sequence[SeasonRide], units: Units, width: int | None) -> Iterator[str]:
    """Yield a line for each set-up, and the caution that this is not a comparison."""
    found = setup_totals(rides)
    longest = max([len("set-up"), *(len(_short(one.setup)) for one in found)])
    fits = width is None or width >= longest + 37
    formats = (f"<{longest}", ">8", ">7", ">7", ">7")
    if fits:
        titles = ("set-up", "sessions", units.distance_name, "Wh", units.consumption_name)
        yield aligned(titles, formats)
    for one in found:
        distance = _distance(one.distance_m, units)
        energy, consumption = _energy(one.energy_wh), _consumption(one.wh_per_km, units)
        if fits:
            cells = (_short(one.setup), str(one.rides), distance, energy, consumption)
            yield aligned(cells, formats)
        else:
            pieces = [
                _short(one.setup),
                f"{one.rides} {_rides(one.rides)}",
                f"{distance} {units.distance_name}",
                f"{energy} Wh",
                f"{consumption} {units.consumption_name}",
            ]
            yield from flowed(pieces, width)
    yield ""
    yield from paragraph(NO_COMPARISON, width)


def _cells(ride: SeasonRide, units: Units) -> list[str]:
    sums = ride.sums
    start = started(ride)
    named = [] if ride.setups == (PLAIN_SETUP,) else [_short(setup) for setup in ride.setups]
    return [
        (UNKNOWN if start is None else f"{start:%Y-%m-%d %H:%M}") + OPEN_MARK * ride.is_open,
        _short(ride.name),
        UNKNOWN if isinstance(sums.duration_s, Unknown) else clock_text(sums.duration_s),
        _distance(sums.distance_m, units),
        _energy(sums.energy_wh),
        _interval(sums.wh_per_km, units),
        ", ".join(named),
        _clean(ride.label),
    ]


def _flowed_row(row: list[str], units: Units, width: int) -> Iterator[str]:
    date, name, time, distance, energy, consumption, setups, label = row
    yield from flowed(
        [
            date,
            time,
            f"{distance} {units.distance_name}",
            f"{energy} Wh",
            f"{consumption} {units.consumption_name}",
            name,
            *([f"set-ups {setups}"] if setups else []),
            *([f"label {label}"] if label else []),
        ],
        width,
    )


def _sum_lines(
    sums: SeasonTotals, all_rides: int, units: Units, width: int | None
) -> Iterator[str]:
    count = f"{sums.rides}" if sums.rides == all_rides else f"{sums.rides} of {all_rides}"
    ratio = f"{_interval(sums.wh_per_km, units)} {units.consumption_name}"
    if sums.rides_in_ratio < sums.rides:
        ratio += f" over {sums.rides_in_ratio}"
    pieces = [
        f"{count} {_rides(all_rides)}",
        clock_text(sums.duration_s),
        f"{_distance(sums.distance_m, units)} {units.distance_name}",
        f"{_energy(sums.energy_wh)} Wh",
        ratio,
    ]
    yield from flowed(pieces, width)


def _rides(count: int) -> str:
    return "session" if count == 1 else "sessions"


def _clean(text: str) -> str:
    return printable(text, instead="")


def _short(text: str) -> str:
    text = _clean(text)
    return text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 1]}…"


def _interval(wh_per_km: Estimate, units: Units) -> str:
    return figure_text(wh_per_km, lambda value: consumption_text(value, units))


def _distance(distance_m: Estimate | Number, units: Units) -> str:
    return _written(distance_m, lambda value_m: three_figures(units.distance(value_m)))


def _energy(energy_wh: Estimate | Number) -> str:
    return _written(energy_wh, three_figures)


def _consumption(wh_per_km: Estimate | Number, units: Units) -> str:
    return _written(wh_per_km, lambda value: consumption_text(value, units))


def _written(figure: Estimate | Number, write: Callable[[float], str]) -> str:
    if isinstance(figure, Unknown):
        return UNKNOWN
    return write(figure.value if isinstance(figure, Figure) else figure)
