"""Cells of a row of buttons: their columns, and what is written in each.

Every button shows its key before its label, or above it if the row has two lines and is too narrow
for both side by side. A blank column parts two cells, so that two selected ones do not merge.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Protocol, TypeVar

from groundside.dashboard.drawing.painted import shortened
from onboard.dataclass import dataclass

LEAST_CELLS = 5
"""Width of a button with its blank column: 44 px at 9 px each (WCAG 2.2, criterion 2.5.5)."""


class Labelled(Protocol):
    """What a cell needs to know of a button."""

    @property
    def label(self) -> str:
        """Its action, in a word or two."""

    @property
    def short(self) -> str:
        """A label of at most five letters; empty to cut `label`."""

    @property
    def key(self) -> str:
        """The equivalent key; empty for none."""


AnyLabelled = TypeVar("AnyLabelled", bound=Labelled)


@dataclass(frozen=True)
class Written:
    """A line in a cell: the key, which stands out, and the words after it."""

    key: str
    words: str

    @property
    def width(self) -> int:
        """Columns that it takes."""
        return len(self.key) + len(self.words)


@dataclass(frozen=True)
class Cell:
    """A cell: its columns, without the blank after it, and its lines."""

    begin: int
    end: int
    lines: tuple[Written, ...]


def beside(key: str, words: str) -> tuple[Written, ...]:
    """Return a key and a label side by side; a sign that starts the label is not written twice.

    Examples
    --------
    >>> beside("s", "speed"), beside("-", "-0.1")
    ((Written(key='s', words=' speed'),), (Written(key='-', words='0.1'),))
    """
    if key and not key.isalnum() and words.startswith(key):
        return (Written(key, words.removeprefix(key)),)
    return (Written(key, f" {words}" if key else words),)


def above(key: str, words: str) -> tuple[Written, ...]:
    """Return a key above a label."""
    return (Written(key, ""), Written("", words)) if key else (Written("", words),)


def without_key(_key: str, words: str) -> tuple[Written, ...]:
    """Return the label alone."""
    return (Written("", words),)


Way = Callable[[str, str], tuple[Written, ...]]


def cells(
    row: Sequence[Labelled], width: int, height: int = 1, *, keyless: bool = False
) -> tuple[Cell, ...]:
    """Return the cells of a row of buttons.

    Parameters
    ----------
    row
        The buttons, from left to right.
    width, height
        Columns and lines of the row.
    keyless
        Whether keys are left out before labels are shortened, as on a touch screen.

    Examples
    --------
    >>> from groundside.dashboard.widgets.button_bar import Button
    >>> row = [Button("ride", "", "1"), Button("curve", "", "2")]
    >>> for cell in cells(row, 17):
    ...     print(cell.begin, cell.end, cell.lines[0].key + cell.lines[0].words)
    0 7 1 ride
    8 17 2 curve
    """
    for short, way in _ways(height, keyless=keyless):
        lines = [_lines(button, way, short=short) for button in row]
        edges = _edges([_width(each) for each in lines], width)
        if edges:
            break
    else:
        edges = [place * width // len(row) for place in range(len(row) + 1)]
        lines = [(Written("", button.short or button.label),) for button in row]
    ends = [*(edge - 1 for edge in edges[1:-1]), width]
    return tuple(
        Cell(begin, end, tuple(_cut(line, end - begin) for line in each))
        for begin, end, each in zip(edges[:-1], ends, lines, strict=True)
    )


def rows_of(
    buttons: Sequence[AnyLabelled], width: int, rows: int | None = None
) -> list[list[AnyLabelled]]:
    """Return buttons arranged in rows of equal length.

    Parameters
    ----------
    buttons
        The buttons.
    width
        Columns of a row.
    rows
        Number of rows; None for as few as show every label with its key.
    """
    count = len(buttons)
    for number in range(rows or 1, (rows or count) + 1):
        across = max(1, -(-count // max(1, number)))
        found = [list(buttons[n : n + across]) for n in range(0, count, across)]
        if rows or all(_edges(_widths(row), width) for row in found):
            return found
    return [[button] for button in buttons]


def _widths(row: Sequence[Labelled]) -> list[int]:
    return [_width(_lines(button, beside, short=True)) for button in row]


def _width(lines: tuple[Written, ...]) -> int:
    return max(LEAST_CELLS - 1, *(line.width for line in lines))


def _ways(height: int, *, keyless: bool) -> list[tuple[bool, Way]]:
    """Return the ways to write labels, best first: whether shortened, and where the key goes."""
    with_key: list[Way] = [beside, above] if height > 1 else [beside]
    if keyless:
        return [(False, beside), (False, without_key), (True, without_key)]
    return [*((short, way) for short in (False, True) for way in with_key), (True, without_key)]


def _lines(button: Labelled, way: Way, *, short: bool) -> tuple[Written, ...]:
    return way(button.key, (button.short if short else "") or button.label)


def _edges(widths: list[int], width: int) -> list[int]:
    """Return where each cell begins, and the row's end; empty if the widths do not fit.

    Cells are of equal width if that is enough for all; otherwise they share the spare columns.
    """
    count = len(widths)
    even = [place * width // count for place in range(count + 1)]
    rooms = [b - a - 1 for a, b in pairwise(even)]
    rooms[-1] += 1
    if all(room >= wanted for room, wanted in zip(rooms, widths, strict=True)):
        return even
    spare = width - sum(widths) - (count - 1)
    if spare < 0:
        return []
    edges = [0]
    for place, wanted in enumerate(widths):
        share = (place + 1) * spare // count - place * spare // count
        edges.append(edges[-1] + wanted + 1 + share)
    return [*edges[:-1], width]


def _cut(line: Written, width: int) -> Written:
    return Written(line.key, shortened(line.words, width - len(line.key)))
