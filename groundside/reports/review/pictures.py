"""Pictures of a ride as files, and as parts of a page. The only room that loads matplotlib."""

import contextlib
import io
import itertools
import logging
import re
import warnings
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from groundside.reports.review.names import date_text
from groundside.reports.review.plots import INK, Drawing, drawings
from groundside.reports.review.several import Named
from groundside.words.units import units_named
from onboard.errors import UsageError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHEET_INCHES = (11.0, 8.0)
PART_INCHES = (4.6, 3.6)
"""Of one picture on a page: its letters are legible still where a phone shows it smaller."""
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
"""No word about when and with what an SVG was made, nor the addresses that come with it."""


def need_matplotlib() -> None:
    """See whether pictures can be drawn.

    Raises
    ------
    UsageError
        If matplotlib is missing, with what mends it.
    """
    try:
        import matplotlib.figure  # noqa: F401
    except ImportError as problem:
        raise UsageError(
            f"review: {problem.name or problem} is not installed: pip install 'wattwake[plot]'"
        ) from None


def plot_file(ride: Named, units: str | None, suffix: str, tracks: bool) -> bytes:
    """Draw one ride on one sheet.

    Parameters
    ----------
    ride
        The ride, with what is drawn of it.
    units
        What it is told in; None: what its profile says.
    suffix
        `.png` or `.svg`.
    tracks
        Whether the track is on it.
    """
    with _style():
        figure = sheet(ride, units, tracks)
        return _saved(figure, suffix.lower().removeprefix("."))


def sheet(ride: Named, units: str | None, tracks: bool) -> "Figure":
    """Draw one ride on one sheet, two pictures side by side."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=SHEET_INCHES, layout="constrained")
    title = figure.suptitle("  ".join(filter(None, (ride.name, date_text(ride.result)))))
    title.set_parse_math(False)
    for number, (_, draw) in enumerate(_drawings(ride, units, tracks), start=1):
        draw(figure.add_subplot(2, 2, number))
    return figure


def svg_parts(
    ride: Named, units: str | None, tracks: bool, numbers: Iterator[int]
) -> list[tuple[str, str]]:
    """Draw one ride as pictures of a page: what each shows, in words, and its SVG element.

    Where there is nothing to draw the words say so, and there is no element.

    Parameters
    ----------
    ride
        The ride, with what is drawn of it.
    units
        What it is told in; None: what its profile says.
    tracks
        Whether the track is among them.
    numbers
        Gives each picture of the page a number of its own.
    """
    from matplotlib.figure import Figure

    parts = []
    with _style():
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


def _drawings(ride: Named, units: str | None, tracks: bool) -> Sequence[tuple[str, Drawing]]:
    series = ride.reviewed.series
    assert series is not None
    own = units_named(units or ride.reviewed.speed_unit)
    return drawings(ride.result, series, own, tracks=tracks)


@contextlib.contextmanager
def _style() -> Iterator[None]:
    """Draw in our own style whatever the user's is, and without words on stderr."""
    import matplotlib

    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    with matplotlib.rc_context(), warnings.catch_warnings():
        # A name may hold letters that the font lacks: it shows boxes in their place.
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
    """Make an SVG file a part of a page: no prologue, names of its own, the page's ink.

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


def picture_numbers() -> Iterator[int]:
    """Return a page's pictures their numbers."""
    return itertools.count(1)
