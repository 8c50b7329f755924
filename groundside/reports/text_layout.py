"""Layout of printed reports: columns, wrapping, control characters, text or JSON."""

import json
import re
import textwrap
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from typing import Any

from groundside.words.figures import UNKNOWN
from groundside.words.units import CHOICES
from onboard.contract.figure import Estimate, Unknown

COLUMNS, NAME_WIDTH = 80, 16
HANG = "  "
UNITS = "|".join(("%", "W", "A", "V", "°C", *map(re.escape, CHOICES)))
"""Units of short numbers, for a regular expression."""
"""Indent of a continuation line."""


def print_report(as_json: bool, stated: Callable[[], Any], lines: Iterable[str]) -> None:
    """Print a report as JSON or as text.

    Parameters
    ----------
    as_json
        Whether `--json` was given.
    stated
        Returns the report in JSON's own types.
    lines
        The report as text; consumed only if it is printed.
    """
    for line in [json.dumps(stated(), indent=2, allow_nan=False)] if as_json else lines:
        print(line)


def aligned(cells: Iterable[str], formats: Iterable[str], gap: str = "  ") -> str:
    """Return cells in columns.

    Parameters
    ----------
    cells
        Text of each cell.
    formats
        Format of each column, such as `<16` or `>9`; see the standard library's `string`.
    gap
        Text between columns.

    Examples
    --------
    >>> aligned(["slim", "9.81"], ["<6", ">6"])
    'slim      9.81'
    """
    return gap.join(f"{cell:{how}}" for cell, how in zip(cells, formats, strict=True))


def table_lines(rows: Sequence[Sequence[str]], right: Collection[int]) -> Iterator[str]:
    """Yield rows in columns as wide as their longest cell.

    Parameters
    ----------
    rows
        Rows of equal length; the heading first, if any.
    right
        Numbers of the columns to align to the right.

    Examples
    --------
    >>> list(table_lines([["name", "Wh"], ["ride", "112"]], {1}))
    ['name   Wh', 'ride  112']
    """
    formats = [
        f"{'>' if number in right else '<'}{max(map(len, column))}"
        for number, column in enumerate(zip(*rows, strict=True))
    ]
    return (aligned(row, formats).rstrip() for row in rows)


def figure_text(figure: Estimate, write: Callable[[float], str], unknown: str = UNKNOWN) -> str:
    """Return a figure with its 95 % interval in brackets.

    Parameters
    ----------
    figure
        The figure.
    write
        Formats a number.
    unknown
        Text for an unknown figure.

    Examples
    --------
    >>> from onboard.contract.figure import Figure
    >>> figure_text(Figure(9.81, 9.5, 10.1), "{:.1f}".format)
    '9.8 (9.5 to 10.1)'
    """
    if isinstance(figure, Unknown):
        return unknown
    if figure.low is None or figure.high is None:
        return write(figure.value)
    return f"{write(figure.value)} ({write(figure.low)} to {write(figure.high)})"


def short_names(labels: Iterable[str], width: int = NAME_WIDTH) -> dict[str, str]:
    """Return each label shortened to at most `width` characters, no two alike.

    Parameters
    ----------
    labels
        The labels as written by the rider.
    width
        At least 4.

    Examples
    --------
    >>> list(short_names(["slim", "three blades, cut down"]).values())
    ['slim', 'three b..ut down']
    """
    found: dict[str, str] = {}
    for label in dict.fromkeys(labels):
        half = (width - 2) // 2
        short = label if len(label) <= width else f"{label[: width - 2 - half]}..{label[-half:]}"
        number = 1
        while short in found.values():
            number += 1
            tail = f"~{number}"
            short = label[: width - len(tail)] + tail
        found[label] = short
    return found


def hanging(text: str) -> list[str]:
    """Wrap a sentence to 80 columns with a hanging indent; keep numbers with their units."""
    glued = re.sub(rf"(?<=\d) (?=({UNITS})\b|%)", "\u00a0", text)
    lines = textwrap.wrap(glued, COLUMNS, subsequent_indent=HANG, break_on_hyphens=False)
    return [line.replace("\u00a0", " ") for line in lines]


def paragraph(text: str, width: int | None) -> list[str]:
    """Wrap a sentence to a width, at least 20 columns; None does not wrap."""
    return [text] if width is None else textwrap.wrap(text, max(width, 20))


def flowed(pieces: Iterable[str], width: int | None) -> Iterator[str]:
    """Yield pieces in lines that fit, breaking only a piece longer than a line.

    Parameters
    ----------
    pieces
        Texts to put side by side.
    width
        Width of the screen in columns; None puts all in one line.

    Examples
    --------
    >>> list(flowed(["3 sessions", "1.2 km", "62 Wh"], 20))
    ['3 sessions   1.2 km', '  62 Wh']
    """
    line = ""
    for piece in pieces:
        longer = f"{line}   {piece}" if line.strip() else f"{line}{piece}"
        if width is not None and len(longer) > width and line.strip():
            yield line
            longer = f"{HANG}{piece}"
        while width is not None and len(longer) > width:
            yield longer[:width]
            longer = f"{HANG}{longer[width:]}"
        line = longer
    yield line


def printable(text: str, instead: str = "?") -> str:
    """Return a text with every control character replaced, which could affect a terminal.

    Parameters
    ----------
    text
        Text from a file or a log.
    instead
        Replacement for each; empty to drop it.

    Examples
    --------
    >>> printable("a" + chr(27) + "[31mb")
    'a?[31mb'
    """
    return "".join(one if one.isprintable() else instead for one in text)
