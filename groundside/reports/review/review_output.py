"""Reviews as JSON, and as plain lines if there is no terminal."""

from collections.abc import Iterator, Sequence
from typing import Any

from groundside.reports.report_table import Cell, ReportTable
from groundside.reports.review.parallel_review import ReviewOutcome
from groundside.reports.review.report_tables import (
    event_line,
    events_table,
    further_tables,
    trip_table,
)
from groundside.reports.review.season_table import common_units, named_reviews, season_table
from groundside.reports.text_layout import table_lines
from groundside.studies.review_result import LogEvent, Review
from groundside.words.log_remarks import event_text
from groundside.words.trip_sums import trip_summary_lines
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert
from onboard.contract.codec import WHY, plain

SCHEMA = 2

JSON_UNITS = CHOICES["km/h"]
"""Units of the sentences in JSON, independent of the reader's: programs read the values."""


def as_json(outcomes: Sequence[ReviewOutcome]) -> dict[str, Any]:
    """Return the review of a single log, or a list of each log's review or problem."""
    stated = [
        {"problem": one.problem} if one.result is None else review_json(one.result)
        for one in outcomes
    ]
    if len(outcomes) == 1:
        return stated[0]
    reviews = [{"path": str(one.path), **body} for one, body in zip(outcomes, stated, strict=True)]
    return {"schema": SCHEMA, "reviews": reviews}


def review_json(review: Review) -> dict[str, Any]:
    """Return a review in JSON's own types; see the README.md of reports."""
    stated = {"schema": SCHEMA, **plain(review)}
    del stated["ridden"]  # programs read `bands`
    stated["events"] = [_event_json(event) for event in review.events]
    stated.setdefault(WHY, {})
    return stated


def _event_json(event: LogEvent) -> dict[str, Any]:
    what = event.what
    values: dict[str, Any] = plain(what.values)
    if not isinstance(what, Alert) and what.reason is not None:
        # The reason with its values, not just its code.
        values["reason"] = plain(what.reason)
    return {
        "t_s": plain(event.t_s),
        "code": what.code.code,
        **values,
        "text": event_text(what, JSON_UNITS),
    }


def as_tables(outcomes: Sequence[ReviewOutcome], units: str | None) -> list[ReportTable]:
    """Return all tables of a single log, or the one for several; none if no log could be read.

    Parameters
    ----------
    outcomes
        The reviews.
    units
        Unit of speed; None for the one in the log's profile.
    """
    rides = named_reviews(outcomes)
    if not rides:
        return []
    own = common_units(rides, units)
    if len(outcomes) > 1:
        return [season_table(outcomes, own)]
    result = rides[0].result
    events = [events_table(result, own)] if result.events else []
    return [*events, trip_table(result, own), *further_tables(result, own)]


def as_lines(outcomes: Sequence[ReviewOutcome], units: str | None) -> Iterator[str]:
    """Yield the tables in plain lines: first the events, then the trip, both untitled.

    Parameters
    ----------
    outcomes, units
        See `as_tables`.
    """
    if len(outcomes) > 1:
        for table in as_tables(outcomes, units):
            yield from plain_table(table)
        return
    for ride in named_reviews(outcomes):
        own = common_units([ride], units)
        for event in ride.result.events:
            yield event_line(event, own)
        yield from trip_summary_lines(ride.result.trip, own)
        for table in further_tables(ride.result, own):
            yield ""
            yield from plain_table(table)


def plain_table(table: ReportTable) -> Iterator[str]:
    """Yield a table in columns, without rules."""
    yield table.title
    rows = [[_plain(cell) for cell in row] for row in table.rows]
    if any(column.title for column in table.columns):
        rows.insert(0, [column.title for column in table.columns])
    if table.rows and table.total is not None:
        rows.append([_plain(cell) for cell in table.total])
    right = {number for number, column in enumerate(table.columns) if column.right}
    for line in table_lines(rows, right):
        yield f"  {line}".rstrip()
    for note in table.notes:
        yield f"  {note}"


def _plain(cell: Cell) -> str:
    return f"{cell.text} ({cell.interval})" if cell.interval else cell.text
