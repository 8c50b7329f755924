"""Plots of a ride as files and as parts of a page. The only module that loads matplotlib."""

import contextlib
import io
import logging
import re
import warnings
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from groundside.reports.review.log_names import date_text
from groundside.reports.review.plots import INK, Drawing, drawings
from groundside.reports.review.season_table import NamedReview
from groundside.words.units import units_named
from onboard.errors import UsageError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHEET_INCHES = (11.0, 8.0)
PART_INCHES = (4.6, 3.6)
"""Size of a plot on a page [in]: its text stays legible when scaled down on a phone."""
DOTS_PER_INCH = 130
STYLE: Any = {
    **{f"axes.{name}": INK for name in ("edgecolor", "labelcolor", "titlecolor")},
    **{f"{axis}.color": INK for axis in ("xtick", "ytick")},
    "text.color": INK,
    "legend.framealpha": 0.0,
    "axes.grid": True,
    "grid.color": "#808080",
    "grid.alpha": 0.35,
    "axes.titlesize": "medium",
    "svg.fonttype": "path",
    "svg.hashsalt": "wattwake",
}
NOTHING_ABOUT = dict.fromkeys(("Creator", "Date", "Format", "Type"))
"""Metadata to omit from an SVG: date, software, and the URLs in them."""


def need_matplotlib() -> None:
    """Check that plots can be drawn.

    Raises
    ------
    UsageError
        If matplotlib is missing; the message says how to install it.
    """
    try:
        import matplotlib.figure  # noqa: F401
    except ImportError as problem:
        raise UsageError(
            f"review: {problem.name or problem} is not installed: pip install 'wattwake[plot]'"
        ) from None


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
        return _saved(figure, suffix.lower().removeprefix("."))


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
    from matplotlib.figure import Figure

    parts = []
    with plot_style():
        for words, draw in _drawings(ride, units, tracks):
            figure = Figure(figsize=PART_INCHES, layout="constrained")
            axes = figure.add_subplot()
            draw(axes)
            if not axes.axison:
                parts.append((f"{words}: {axes.texts[0].get_text()}", ""))
                continue
            svg = _saved(figure, "svg", transparent=True).decode()
            parts.append((words, _inline(svg, next(numbers))))
    return parts


def _drawings(ride: NamedReview, units: str | None, tracks: bool) -> Sequence[tuple[str, Drawing]]:
    series = ride.outcome.series
    assert series is not None
    own = units_named(units or ride.outcome.speed_unit)
    return drawings(ride.result, series, own, tracks=tracks)


@contextlib.contextmanager
def plot_style() -> Iterator[None]:
    """Draw in this module's style, not the user's, and suppress warnings on stderr."""
    import matplotlib

    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    with matplotlib.rc_context(), warnings.catch_warnings():
        # The font may lack characters of a name and show boxes instead.
        warnings.simplefilter("ignore")
        matplotlib.rcdefaults()
        with matplotlib.rc_context(STYLE):
            yield


def _saved(figure: "Figure", kind: str, *, transparent: bool = False) -> bytes:
    out = io.BytesIO()
    about = NOTHING_ABOUT if kind == "svg" else {"Software": None}
    figure.savefig(out, format=kind, dpi=DOTS_PER_INCH, metadata=about, transparent=transparent)
    return out.getvalue()


def _inline(svg: str, number: int) -> str:
    """Return an SVG file as an element of a page: no prologue, unique ids, page's text colour.

    Examples
    --------
    >>> _inline('<?xml?><svg width="9pt" height="7pt" viewBox="0 0 9 7"><g id="a"/></svg>', 3)
    '<svg viewBox="0 0 9 7"><g id="p3-a"/></svg>'
    """
    svg = svg[svg.index("<svg") :].strip()
    svg = re.sub(r'\b(?:width|height)="[^"]*" ?', "", svg, count=2)
    svg = re.sub(r'\bid="', f'id="p{number}-', svg)
    svg = re.sub(r'href="#', f'href="#p{number}-', svg)
    svg = re.sub(r"url\(#", f"url(#p{number}-", svg)
    return svg.replace(INK, "currentColor")
