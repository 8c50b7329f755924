"""Plots of a ride as files and as parts of a page."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from groundside.reports.drawing import Drawing, plot_style, saved, svg_elements
from groundside.reports.review.log_names import date_text
from groundside.reports.review.plots import drawings
from groundside.reports.review.season_table import NamedReview
from groundside.words.units import units_named

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHEET_INCHES = (11.0, 8.0)


def plot_file(ride: NamedReview, units: str | None, suffix: str, tracks: bool) -> bytes:
    """Return an image file of one ride's plots.

    Parameters
    ----------
    ride
        The ride, with its series.
    units
        Unit of speed; None for the one in its profile.
    suffix
        `.png` or `.svg`.
    tracks
        Whether to draw the track.
    """
    with plot_style():
        figure = sheet(ride, units, tracks)
        return saved(figure, suffix.lower().removeprefix("."))


def sheet(ride: NamedReview, units: str | None, tracks: bool) -> "Figure":
    """Return a figure of one ride's plots, two by two."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=SHEET_INCHES, layout="constrained")
    title = figure.suptitle("  ".join(filter(None, (ride.name, date_text(ride.result)))))
    title.set_parse_math(False)
    for number, (_, draw) in enumerate(_drawings(ride, units, tracks), start=1):
        draw(figure.add_subplot(2, 2, number))
    return figure


def svg_parts(
    ride: NamedReview, units: str | None, tracks: bool, numbers: Iterator[int]
) -> list[tuple[str, str]]:
    """Return one ride's plots for a page: a caption and an SVG element each.

    The element is empty where there is nothing to draw; the caption then says why.

    Parameters
    ----------
    ride
        The ride, with its series.
    units
        Unit of speed; None for the one in its profile.
    tracks
        Whether to draw the track.
    numbers
        Yields a unique number for each plot of the page.
    """
    return svg_elements(_drawings(ride, units, tracks), numbers)


def _drawings(ride: NamedReview, units: str | None, tracks: bool) -> Sequence[tuple[str, Drawing]]:
    series = ride.outcome.series
    assert series is not None
    own = units_named(units or ride.outcome.speed_unit)
    return drawings(ride.result, series, own, tracks=tracks)
