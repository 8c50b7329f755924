"""Tables as wide as the terminal. Imported only if there is one, as rich loads slowly."""

import sys
from collections.abc import Iterable

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from groundside.reports.report_table import WIDE, Cell, ReportTable


def print_tables(tables: Iterable[ReportTable], width: int | None = None) -> None:
    """Print tables to standard output.

    Titles and totals are set off by weight alone, so nothing is lost without colour.

    Parameters
    ----------
    tables
        The tables.
    width
        Columns of the terminal; None detects it.
    """
    console = Console(file=sys.stdout, width=width, highlight=False, markup=False, emoji=False)
    for number, table in enumerate(tables):
        if number:
            console.print()
        console.print(Text(table.title, style="bold"))
        if table.rows:
            console.print(_drawn(table, console.width))
        for note in table.notes:
            console.print(Text(note))


def _drawn(table: ReportTable, width: int) -> Table:
    shown = [n for n, column in enumerate(table.columns) if column.from_width <= width]
    drawn = Table(
        box=box.SIMPLE_HEAD,
        show_header=any(column.title for column in table.columns),
        header_style="bold",
        pad_edge=False,
        padding=(0, 1, 0, 0),
        show_edge=False,
    )
    for n in shown:
        column = table.columns[n]
        drawn.add_column(column.title, justify="right" if column.right else "left", overflow="fold")
    for row in table.rows:
        drawn.add_row(*(_cell(row[n], width) for n in shown))
    if table.total is not None:
        drawn.add_section()
        drawn.add_row(*(_cell(table.total[n], width) for n in shown), style="bold")
    return drawn


def _cell(cell: Cell, width: int) -> Text:
    """Return a cell; on a narrow terminal its interval goes on a second line."""
    if not cell.interval:
        return Text(cell.text)
    between = " " if width >= WIDE else "\n"
    return Text(f"{cell.text}{between}({cell.interval})")
