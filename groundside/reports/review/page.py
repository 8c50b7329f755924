"""A review as one page that needs nothing else: tables and pictures, for a phone and for paper.

All text is escaped here, and the page forbids itself to run or to fetch anything.
"""

from collections.abc import Iterator, Sequence
from html import escape

from groundside.reports.review.many import Reviewed
from groundside.reports.review.names import date_text, written
from groundside.reports.review.page_style import STYLE
from groundside.reports.review.pictures import picture_numbers, svg_parts
from groundside.reports.review.sections import (
    CAUTION,
    WIDE,
    Cell,
    Column,
    Section,
    events_section,
    more_sections,
    trip_section,
)
from groundside.reports.review.several import Named, common_units, readable, season_section
from groundside.words.units import units_named
from onboard.contract.codec import clean

ALLOWED = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'"
WITH_TRACK = "This page shows the track: it tells where the rides began and ended."
WITHOUT_TRACK = "The track was left out of this page."
INTERVALS = "In brackets: the ends of the 95 % interval."


def page(reviewed: Sequence[Reviewed], units: str | None, tracks: bool) -> str:
    """Write the page.

    Parameters
    ----------
    reviewed
        The reviews; at least one log could be read.
    units
        What it is told in; None: what each log's profile says.
    tracks
        Whether the tracks are on it.
    """
    rides = readable(reviewed)
    several = len(reviewed) > 1
    title = f"{len(rides)} rides" if several else rides[0].name
    numbers = picture_numbers()
    parts = ["<main>", f"<h1>{_text(title)}</h1>" if several else ""]
    if several:
        parts += _season(reviewed, rides, units)
    for place, ride in enumerate(rides, start=1):
        parts += _ride(ride, place, units, svg_parts(ride, units, tracks, numbers), several)
    notes = [INTERVALS, CAUTION, WITH_TRACK if tracks else WITHOUT_TRACK]
    parts += ["<footer>", *(f"<p>{_text(note)}</p>" for note in notes), "</footer>", "</main>"]
    return "\n".join([*_head(f"{title} - review"), *filter(None, parts), "</html>", ""])


def _head(title: str) -> Iterator[str]:
    yield "<!DOCTYPE html>"
    yield '<html lang="en">'
    yield '<meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{ALLOWED}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield '<meta name="color-scheme" content="light dark">'
    yield f"<title>{_text(title)}</title>"
    yield f"<style>{STYLE}</style>"


def _season(
    reviewed: Sequence[Reviewed], rides: Sequence[Named], units: str | None
) -> Iterator[str]:
    section = season_section(reviewed, common_units(rides, units))
    yield from _section(section, [f"#ride-{place}" for place in range(1, len(rides) + 1)])
    unread = [one for one in reviewed if one.result is None]
    if unread:
        yield "<section><h2>could not be read</h2><ul>"
        for one in unread:
            yield f"<li>{_text(one.problem or written(one.path))}</li>"
        yield "</ul></section>"


def _ride(
    ride: Named, place: int, units: str | None, pictures: Sequence[tuple[str, str]], several: bool
) -> Iterator[str]:
    """Write one ride; its headings are a level lower where there are several."""
    own = units_named(units or ride.reviewed.speed_unit)
    level = 2 if several else 1
    yield f'<article id="ride-{place}"><h{level}>{_text(ride.name)}</h{level}>'
    craft = ride.reviewed.series.craft if ride.reviewed.series is not None else ""
    about = ", ".join(filter(None, (clean(craft), date_text(ride.result) or "date unknown")))
    yield f"<p>{_text(about)}</p>"
    if ride.result.events:
        yield from _section(events_section(ride.result, own), level=level + 1)
    yield from _section(trip_section(ride.result, own), level=level + 1)
    yield from (f'<p class="note">{_text(words)}</p>' for words, svg in pictures if not svg)
    yield '<div class="pictures">'
    for words, svg in pictures:
        if not svg:
            continue
        label = _text(words)
        told = svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)
        yield f"<figure>{told}<figcaption>{label}</figcaption></figure>"
    yield "</div>"
    for section in more_sections(ride.result, own):
        yield from _section(section, level=level + 1)
    yield "</article>"


def _section(section: Section, links: Sequence[str] = (), level: int = 2) -> Iterator[str]:
    yield f"<section><h{level}>{_text(section.title)}</h{level}>"
    if section.rows:
        yield "<table>"
        if any(column.title for column in section.columns):
            titles = "".join(
                f'<th scope="col"{_class(column)}>{_text(column.title)}</th>'
                for column in section.columns
            )
            yield f"<thead><tr>{titles}</tr></thead>"
        yield "<tbody>"
        for number, row in enumerate(section.rows):
            yield _row(row, section.columns, links[number] if links else "")
        yield "</tbody>"
        if section.total is not None:
            yield f"<tfoot>{_row(section.total, section.columns)}</tfoot>"
        yield "</table>"
    yield from (f'<p class="note">{_text(note)}</p>' for note in section.notes)
    yield "</section>"


def _row(row: Sequence[Cell], columns: Sequence[Column], link: str = "") -> str:
    cells = []
    for number, (cell, column) in enumerate(zip(row, columns, strict=True)):
        said = _text(cell.text)
        if cell.interval:
            said += f" <small>({_text(cell.interval)})</small>"
        if number == 0:
            said = f'<a href="{link}">{said}</a>' if link else said
            cells.append(f'<th scope="row"{_class(column)}>{said}</th>')
        else:
            cells.append(f"<td{_class(column)}>{said}</td>")
    return f"<tr>{''.join(cells)}</tr>"


def _class(column: Column) -> str:
    """Numbers stand at the right; what is second choice is left out of a phone's width."""
    names = [*(["right"] if column.right else []), *(["wide"] if column.from_width >= WIDE else [])]
    return f' class="{" ".join(names)}"' if names else ""


def _text(text: str) -> str:
    return escape(text.encode("utf-8", "replace").decode(), quote=True)
