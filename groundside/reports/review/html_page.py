"""A review as a self-contained HTML page: tables and pictures, for a phone and for paper.

All text is escaped here, and the page's own content security policy forbids it to run scripts or
fetch anything.
"""

import itertools
from collections.abc import Iterator, Sequence
from html import escape

from groundside.reports.review.html_style import STYLE
from groundside.reports.review.log_names import date_text, path_text
from groundside.reports.review.parallel_review import ReviewOutcome
from groundside.reports.review.pictures import svg_parts
from groundside.reports.review.report_tables import (
    CAUTION,
    WIDE,
    Cell,
    ReportTable,
    TableColumn,
    events_table,
    further_tables,
    trip_table,
)
from groundside.reports.review.season_table import (
    NamedReview,
    common_units,
    named_reviews,
    season_table,
)
from groundside.words.units import units_named
from onboard.contract.codec import clean

ALLOWED = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'"
WITH_TRACK = "This page shows the track: it tells where the rides began and ended."
WITHOUT_TRACK = "The track was left out of this page."
INTERVALS = "In brackets: the ends of the 95 % interval."


def html_page(outcomes: Sequence[ReviewOutcome], units: str | None, tracks: bool) -> str:
    """Return the page.

    Parameters
    ----------
    outcomes
        The reviews; at least one log could be read.
    units
        Unit of speed; None for the one in each log's profile.
    tracks
        Whether to draw the tracks.
    """
    rides = named_reviews(outcomes)
    several = len(outcomes) > 1
    title = f"{len(rides)} rides" if several else rides[0].name
    numbers = itertools.count(1)
    parts = ["<main>", f"<h1>{_text(title)}</h1>" if several else ""]
    if several:
        parts += _season(outcomes, rides, units)
    for place, ride in enumerate(rides, start=1):
        parts += _ride(ride, place, units, svg_parts(ride, units, tracks, numbers), several)
    notes = [INTERVALS, CAUTION, WITH_TRACK if tracks else WITHOUT_TRACK]
    parts += ["<footer>", *(f"<p>{_text(note)}</p>" for note in notes), "</footer>", "</main>"]
    return "\n".join([*_head(f"{title} - review"), *filter(None, parts), "</html>", ""])


def _head(title: str) -> list[str]:
    return [
        "<!DOCTYPE html>",
        '<html lang="en">',
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{ALLOWED}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        f"<title>{_text(title)}</title>",
        f"<style>{STYLE}</style>",
    ]


def _season(
    outcomes: Sequence[ReviewOutcome], rides: Sequence[NamedReview], units: str | None
) -> Iterator[str]:
    table = season_table(outcomes, common_units(rides, units))
    yield from _table(table, [f"#ride-{place}" for place in range(1, len(rides) + 1)])
    unread = [one for one in outcomes if one.result is None]
    if unread:
        yield "<section><h2>could not be read</h2><ul>"
        for one in unread:
            yield f"<li>{_text(one.problem or path_text(one.path))}</li>"
        yield "</ul></section>"


def _ride(
    ride: NamedReview,
    place: int,
    units: str | None,
    pictures: Sequence[tuple[str, str]],
    several: bool,
) -> Iterator[str]:
    """Yield one ride; with several, headings are a level lower."""
    own = units_named(units or ride.outcome.speed_unit)
    level = 2 if several else 1
    yield f'<article id="ride-{place}"><h{level}>{_text(ride.name)}</h{level}>'
    craft = ride.outcome.series.craft if ride.outcome.series is not None else ""
    about = ", ".join(filter(None, (clean(craft), date_text(ride.result) or "date unknown")))
    yield f"<p>{_text(about)}</p>"
    if ride.result.events:
        yield from _table(events_table(ride.result, own), level=level + 1)
    yield from _table(trip_table(ride.result, own), level=level + 1)
    yield from (f'<p class="note">{_text(words)}</p>' for words, svg in pictures if not svg)
    yield '<div class="pictures">'
    for words, svg in pictures:
        if not svg:
            continue
        label = _text(words)
        drawn = svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)
        yield f"<figure>{drawn}<figcaption>{label}</figcaption></figure>"
    yield "</div>"
    for table in further_tables(ride.result, own):
        yield from _table(table, level=level + 1)
    yield "</article>"


def _table(table: ReportTable, links: Sequence[str] = (), level: int = 2) -> Iterator[str]:
    yield f"<section><h{level}>{_text(table.title)}</h{level}>"
    if table.rows:
        yield "<table>"
        if any(column.title for column in table.columns):
            titles = "".join(
                f'<th scope="col"{_class(column)}>{_text(column.title)}</th>'
                for column in table.columns
            )
            yield f"<thead><tr>{titles}</tr></thead>"
        yield "<tbody>"
        for number, row in enumerate(table.rows):
            yield _row(row, table.columns, links[number] if links else "")
        yield "</tbody>"
        if table.total is not None:
            yield f"<tfoot>{_row(table.total, table.columns)}</tfoot>"
        yield "</table>"
    yield from (f'<p class="note">{_text(note)}</p>' for note in table.notes)
    yield "</section>"


def _row(row: Sequence[Cell], columns: Sequence[TableColumn], link: str = "") -> str:
    cells = []
    for number, (cell, column) in enumerate(zip(row, columns, strict=True)):
        text = _text(cell.text)
        if cell.interval:
            text += f" <small>({_text(cell.interval)})</small>"
        if number == 0:
            text = f'<a href="{link}">{text}</a>' if link else text
            cells.append(f'<th scope="row"{_class(column)}>{text}</th>')
        else:
            cells.append(f"<td{_class(column)}>{text}</td>")
    return f"<tr>{''.join(cells)}</tr>"


def _class(column: TableColumn) -> str:
    """Return a column's classes: right-aligned numbers, and columns hidden on a phone."""
    names = [*(["right"] if column.right else []), *(["wide"] if column.from_width >= WIDE else [])]
    return f' class="{" ".join(names)}"' if names else ""


def _text(text: str) -> str:
    return escape(text.encode("utf-8", "replace").decode(), quote=True)
