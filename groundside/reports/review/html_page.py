"""A review as a self-contained HTML page: tables and pictures, for a phone and for paper."""

import itertools
from collections.abc import Iterator, Sequence

from groundside.reports.html_parts import escaped, page_head, pictures_section, table_section
from groundside.reports.review.log_names import date_text, path_text
from groundside.reports.review.parallel_review import ReviewOutcome
from groundside.reports.review.pictures import svg_parts
from groundside.reports.review.report_tables import (
    CAUTION,
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
    parts = ["<main>", f"<h1>{escaped(title)}</h1>" if several else ""]
    if several:
        parts += _season(outcomes, rides, units)
    for place, ride in enumerate(rides, start=1):
        parts += _ride(ride, place, units, svg_parts(ride, units, tracks, numbers), several)
    notes = [INTERVALS, CAUTION, WITH_TRACK if tracks else WITHOUT_TRACK]
    parts += ["<footer>", *(f"<p>{escaped(note)}</p>" for note in notes), "</footer>", "</main>"]
    return "\n".join([*page_head(f"{title} - review"), *filter(None, parts), "</html>", ""])


def _season(
    outcomes: Sequence[ReviewOutcome], rides: Sequence[NamedReview], units: str | None
) -> Iterator[str]:
    table = season_table(outcomes, common_units(rides, units))
    yield from table_section(table, [f"#ride-{place}" for place in range(1, len(rides) + 1)])
    unread = [one for one in outcomes if one.result is None]
    if unread:
        yield "<section><h2>could not be read</h2><ul>"
        for one in unread:
            yield f"<li>{escaped(one.problem or path_text(one.path))}</li>"
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
    yield f'<article id="ride-{place}"><h{level}>{escaped(ride.name)}</h{level}>'
    craft = ride.outcome.series.craft if ride.outcome.series is not None else ""
    about = ", ".join(filter(None, (clean(craft), date_text(ride.result) or "date unknown")))
    yield f"<p>{escaped(about)}</p>"
    if ride.result.events:
        yield from table_section(events_table(ride.result, own), level=level + 1)
    yield from table_section(trip_table(ride.result, own), level=level + 1)
    yield from pictures_section(pictures)
    for table in further_tables(ride.result, own):
        yield from table_section(table, level=level + 1)
    yield "</article>"
