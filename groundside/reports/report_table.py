"""A table of a report, as text: for the terminal, plain lines and pages."""

from onboard.dataclass import dataclass

WIDE, WIDER = 60, 100
"""Terminal widths from which the secondary and tertiary columns of a table are shown."""


@dataclass(frozen=True)
class Cell:
    """A figure's text and its 95 % interval (empty if there is none)."""

    text: str
    interval: str = ""


@dataclass(frozen=True)
class TableColumn:
    """A column's title, alignment, and the least terminal width that shows it."""

    title: str
    right: bool = True
    from_width: int = 0


@dataclass(frozen=True)
class ReportTable:
    """A table with its title.

    Parameters
    ----------
    title
        The table's subject.
    columns
        One for each cell of a row.
    rows
        The body; empty if there are only notes.
    total
        The last row, set off from the others; None without a total.
    notes
        Sentences below the table.
    """

    title: str
    columns: tuple[TableColumn, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()
    total: tuple[Cell, ...] | None = None
    notes: tuple[str, ...] = ()
