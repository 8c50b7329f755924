"""A comparison as tables, for the page."""

from collections.abc import Callable

from groundside.reports.compare.cruise_range import CruiseRange
from groundside.reports.compare.cruise_text import cruise_sentences, cruise_title, has_range
from groundside.reports.compare.findings import Findings
from groundside.reports.compare.ranking_text import (
    places_shared,
    range_sentences,
    runs_text,
    runs_title,
)
from groundside.reports.report_table import WIDE, Cell, ReportTable, TableColumn
from groundside.reports.text_layout import figure_text
from groundside.words.figures import chance_text, three_figures
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.figure import Estimate, Figure, Unknown
from onboard.efficiency.trial.results import Comparison

Write = Callable[[float], str]


def ranking_table(found: Comparison, units: Units) -> ReportTable:
    """Return the ranking."""
    columns = (
        TableColumn("set-up", right=False),
        TableColumn("place"),
        TableColumn(units.consumption_name),
        TableColumn(units.speed_name, from_width=WIDE),
        TableColumn("behind, %"),
        TableColumn("chance"),
        TableColumn(runs_title(found), from_width=WIDE),
    )
    shared = places_shared(found.places)
    rows = tuple(
        (
            Cell(one.name),
            Cell(str(number)),
            Cell(_value(one.wh_per_km, _consumption(units))),
            Cell(_value(one.speed_mps, lambda x: f"{units.speed(x):.2f}")),
            Cell("-") if one is found.setups[0] else _cell(place.behind_fraction, _percent),
            Cell(chance_text(place.chance_best)),
            Cell(runs_text(one, found)),
        )
        for one, place, number in zip(found.setups, found.places, shared, strict=True)
    )
    apart = "Set-ups that share a place cannot be told apart."
    return ReportTable(
        "at equal power",
        columns,
        rows,
        notes=(
            *range_sentences(found, units, apart),
            _columns_note(units),
        ),
    )


def cruise_table(found: CruiseRange, units: Units) -> ReportTable:
    """Return the set-ups at the speed of the cruise."""
    columns = (
        TableColumn("set-up", right=False),
        TableColumn(units.consumption_name),
        TableColumn(f"range, {units.distance_name}"),
        TableColumn("behind, %"),
        TableColumn("from", from_width=WIDE),
    )
    known = has_range(found)
    rows = tuple(
        (
            Cell(one.name),
            _cell(one.wh_per_km, _consumption(units), units),
            _cell(range_m, lambda x: three_figures(units.distance(x))) if known else Cell("-"),
            Cell("-") if one is found.cruise.setups[0] else _cell(one.behind_fraction, _percent),
            Cell("its curve" if one.by_own_curve else "slope"),
        )
        for one, range_m in zip(found.cruise.setups, found.range_m, strict=True)
    )
    notes = tuple(cruise_sentences(found))
    return ReportTable(cruise_title(found, units), columns, rows, notes=notes)


def runs_table(findings: Findings, units: Units) -> ReportTable:
    """Return every run, in order of time."""
    columns = (
        TableColumn("run", right=False),
        TableColumn("set-up", right=False),
        TableColumn("from", right=False, from_width=WIDE),
        TableColumn("time", from_width=WIDE),
        TableColumn("course or lap", from_width=WIDE),
        TableColumn("power"),
        TableColumn(units.speed_name),
        TableColumn("counted"),
    )
    evidence = findings.trial.comparison.evidence
    counted = {n for double in evidence.doubles for n in double.legs}
    rows = tuple(
        (
            Cell(str(n + 1)),
            Cell(leg.setup),
            Cell(findings.times.text(findings.times.of(leg)).removeprefix("from ")),
            Cell(f"{leg.seconds_s:.0f} s"),
            Cell(f"{leg.lap_m:.0f} m" if leg.lap_m else f"{leg.course_deg:.0f}°"),
            Cell(f"{leg.power_w:.0f} W"),
            Cell(f"{units.speed(leg.speed_mps):.2f}"),
            Cell("yes" if n in counted else "no"),
        )
        for n, leg in enumerate(evidence.legs)
    )
    return ReportTable("runs", columns, rows)


def _columns_note(units: Units) -> str:
    return f"Behind: {units.consumption_name} above the best. Chance: of being the best."


def _consumption(units: Units) -> Write:
    return lambda x: f"{units.consumption(x):.1f}"


def _percent(fraction: float) -> str:
    return f"{100 * fraction:.1f}"


def _value(figure: Estimate, write: Write) -> str:
    return write(figure.value) if isinstance(figure, Figure) else "unknown"


def _cell(figure: Estimate, write: Write, units: Units | None = None) -> Cell:
    """Return a figure with its interval; what is unknown with its reason, if there are units."""
    if isinstance(figure, Unknown):
        return Cell("unknown" if units is None else f"unknown: {reason_text(figure, units)}")
    interval = figure_text(figure, write).partition("(")[2].removesuffix(")")
    return Cell(write(figure.value), interval)
