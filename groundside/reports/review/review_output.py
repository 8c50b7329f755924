"""Reviews as they are printed without a terminal: JSON for other programs, plain lines."""

from collections.abc import Iterator, Sequence
from typing import Any

from groundside.reports.review.many import Reviewed
from groundside.reports.review.sections import (
    Cell,
    Section,
    event_words,
    events_section,
    more_sections,
    trip_section,
)
from groundside.reports.review.several import common_units, readable, season_section
from groundside.studies.review_result import LogEvent, Review
from groundside.words.log_remarks import event_text
from groundside.words.trip_sums import trip_summary_lines
from groundside.words.units import CHOICES, units_named
from onboard.contract.alerts import Alert
from onboard.contract.codec import WHY, plain

SCHEMA = 2

SAID_IN = CHOICES["km/h"]
"""Units of the sentences in JSON, whatever the reader's: other programs read the values."""


def as_json(reviewed: Sequence[Reviewed]) -> dict[str, Any] | None:
    """Return one log's review; for several, a list of them, a problem for those without.

    None where there is one log and it has no review.
    """
    if len(reviewed) == 1:
        (one,) = reviewed
        return None if one.result is None else review_json(one.result)
    reviews = [
        {
            "path": str(one.path),
            **({"problem": one.problem} if one.result is None else review_json(one.result)),
        }
        for one in reviewed
    ]
    return {"schema": SCHEMA, "reviews": reviews}


def review_json(review: Review) -> dict[str, Any]:
    """Return a review in JSON's own types, as described in DEVELOPERS.md."""
    stated = {"schema": SCHEMA, **plain(review)}
    stated["events"] = [_event_json(event) for event in review.events]
    stated.setdefault(WHY, {})
    return stated


def _event_json(event: LogEvent) -> dict[str, Any]:
    what = event.what
    values: dict[str, Any] = plain(what.values)
    if not isinstance(what, Alert) and what.reason is not None:
        # With its values, in place of its code alone.
        values["reason"] = plain(what.reason)
    return {
        "t_s": plain(event.t_s),
        "code": what.code.code,
        **values,
        "text": event_text(what, SAID_IN),
    }


def as_sections(reviewed: Sequence[Reviewed], units: str | None) -> list[Section]:
    """Return tables: all of one log's, or the one of several logs; none where none could be read.

    Parameters
    ----------
    reviewed
        The reviews.
    units
        What speeds are told in; None: what the log's profile says.
    """
    rides = readable(reviewed)
    if not rides:
        return []
    own = common_units(rides, units)
    if len(reviewed) > 1:
        return [season_section(reviewed, own)]
    result = rides[0].result
    events = [events_section(result, own)] if result.events else []
    return [*events, trip_section(result, own), *more_sections(result, own)]


def as_lines(reviewed: Sequence[Reviewed], units: str | None) -> Iterator[str]:
    """Return the same in plain lines: what is to be known of a log first, without any title.

    Parameters
    ----------
    reviewed
        The reviews.
    units
        What speeds are told in; None: what the log's profile says.
    """
    if len(reviewed) > 1:
        for section in as_sections(reviewed, units):
            yield from section_lines(section)
        return
    for one in reviewed:
        if one.result is None:
            continue
        own = units_named(units or one.speed_unit)
        for event in one.result.events:
            yield event_words(event, own)
        yield from trip_summary_lines(one.result.trip, own)
        for section in more_sections(one.result, own):
            yield ""
            yield from section_lines(section)


def section_lines(section: Section) -> Iterator[str]:
    """Write a table in columns, without any line drawn."""
    yield section.title
    titled = any(column.title for column in section.columns)
    rows = [[_plain(cell) for cell in row] for row in section.rows]
    if titled:
        rows.insert(0, [column.title for column in section.columns])
    if section.rows and section.total is not None:
        rows.append([_plain(cell) for cell in section.total])
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        parts = [
            text.rjust(width) if column.right else text.ljust(width)
            for text, width, column in zip(row, widths, section.columns, strict=True)
        ]
        yield f"  {'  '.join(parts)}".rstrip()
    for note in section.notes:
        yield f"  {note}"


def _plain(cell: Cell) -> str:
    return f"{cell.text} ({cell.interval})" if cell.interval else cell.text
