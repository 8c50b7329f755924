"""Reviews as tables on a terminal, as wide as it is."""

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

from groundside.reports.review.sections import WIDE, Cell, Section

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text


def print_tables(sections: Iterable[Section], width: int | None = None) -> None:
    """Print tables to standard output.

    Weight alone sets titles and totals off, so nothing is lost where there is no colour.

    Parameters
    ----------
    sections
        What to print.
    width
        Columns of the terminal; None asks it.
    """
    from rich.console import Console

    console = Console(file=sys.stdout, width=width, highlight=False, markup=False, emoji=False)
    for number, section in enumerate(sections):
        if number:
            console.print()
        _print(section, console)


def _print(section: Section, console: "Console") -> None:
    from rich.text import Text

    console.print(Text(section.title, style="bold"))
    if section.rows:
        console.print(_table(section, console.width))
    for note in section.notes:
        console.print(Text(note))


def _table(section: Section, width: int) -> "Table":
    from rich import box
    from rich.table import Table

    shown = [n for n, column in enumerate(section.columns) if column.from_width <= width]
    table = Table(
        box=box.SIMPLE_HEAD,
        show_header=any(column.title for column in section.columns),
        header_style="bold",
        pad_edge=False,
        padding=(0, 1, 0, 0),
        show_edge=False,
    )
    for n in shown:
        column = section.columns[n]
        table.add_column(column.title, justify="right" if column.right else "left", overflow="fold")
    for row in section.rows:
        table.add_row(*(_cell(row[n], width) for n in shown))
    if section.total is not None:
        table.add_section()
        table.add_row(*(_cell(section.total[n], width) for n in shown), style="bold")
    return table


def _cell(cell: Cell, width: int) -> "Text":
    """Write a cell; where there is little room its interval stands under it."""
    from rich.text import Text

    if not cell.interval:
        return Text(cell.text)
    between = " " if width >= WIDE else "\n"
    return Text(f"{cell.text}{between}({cell.interval})")
