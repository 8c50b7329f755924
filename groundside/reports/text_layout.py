"""What fits a terminal: labels in a column, sentences in lines, nothing that steers it."""

import re
import textwrap
from collections.abc import Iterable

COLUMNS, WIDTH = 80, 16


def short_names(labels: Iterable[str], width: int = WIDTH) -> dict[str, str]:
    """Return each label in at most `width` characters, no two alike.

    Parameters
    ----------
    labels
        As the rider wrote them.
    width
        4 or more.

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


def wrapped(text: str) -> list[str]:
    """Return a sentence in lines that fit a terminal of 80 columns."""
    # A number stays with its unit.
    kept = re.sub(r"(?<=\d) (?=(%|W|A|V|m/s|km/h|kn|mph|°C)\b|%)", "\u00a0", text)
    lines = textwrap.wrap(kept, COLUMNS, subsequent_indent="  ", break_on_hyphens=False)
    return [line.replace("\u00a0", " ") for line in lines]


def printable(line: str) -> str:
    """Return a line without what would steer a terminal: each such character becomes a `?`.

    Examples
    --------
    >>> printable("a" + chr(27) + "[31mb")
    'a?[31mb'
    """
    return "".join(one if one.isprintable() else "?" for one in line)
