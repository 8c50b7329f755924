"""How pictures are drawn and become part of a page; matplotlib is loaded at the last moment."""

import contextlib
import io
import logging
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from onboard.errors import UsageError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Drawing = Callable[["Axes"], None]
"""Draws into one matplotlib axes; if there is nothing to draw, it shows the reason (`explain`)."""

LINE, DOT = "#2f7fc1", "#c8641e"
"""Blue and orange: distinct for every kind of colour vision, legible on white and on black."""
INK = "#010203"
"""Colour of axes and text; the HTML page replaces it with its own."""
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


def need_matplotlib(command: str) -> None:
    """Check that plots can be drawn for a command.

    Raises
    ------
    UsageError
        If matplotlib is missing; the message says how to install it.
    """
    try:
        import matplotlib.figure  # noqa: F401
    except ImportError as problem:
        raise UsageError(
            f"{command}: {problem.name or problem} is not installed: pip install 'wattwake[plot]'"
        ) from None


def explain(axes: "Axes", why: str) -> None:
    """Write why nothing is drawn."""
    axes.set_axis_off()
    words = axes.text(
        *(0.5, 0.5, why), ha="center", va="center", transform=axes.transAxes, wrap=True
    )
    words.set_parse_math(False)


def svg_elements(
    drawings: Sequence[tuple[str, Drawing]],
    numbers: Iterator[int],
    inches: tuple[float, float] = PART_INCHES,
) -> list[tuple[str, str]]:
    """Return drawings for a page: a caption and an SVG element each.

    The element is empty where there is nothing to draw; the caption then says why.

    Parameters
    ----------
    drawings
        Caption and drawing of each.
    numbers
        Yields a unique number for each picture of the page.
    inches
        Width and height.
    """
    from matplotlib.figure import Figure

    parts = []
    with plot_style():
        for words, draw in drawings:
            figure = Figure(figsize=inches, layout="constrained")
            axes = figure.add_subplot()
            draw(axes)
            if not axes.axison:
                parts.append((f"{words}: {axes.texts[0].get_text()}", ""))
                continue
            svg = saved(figure, "svg", transparent=True).decode()
            parts.append((words, _inline(svg, next(numbers))))
    return parts


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


def saved(figure: "Figure", kind: str, *, transparent: bool = False) -> bytes:
    """Return a figure as a file, `png` or `svg`."""
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
