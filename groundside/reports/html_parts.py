"""Parts of a self-contained HTML page: head, tables, pictures.

All text is escaped here, and the page's own content security policy forbids it to run scripts or
fetch anything.
"""

from collections.abc import Iterator, Sequence
from html import escape

from groundside.reports.html_style import STYLE
from groundside.reports.report_table import WIDE, Cell, ReportTable, TableColumn

ALLOWED = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'"


def page_head(title: str) -> list[str]:
    """Return the beginning of a page, up to its body."""
    return [
        "<!DOCTYPE html>",
        '<html lang="en">',
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{ALLOWED}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        f"<title>{escaped(title)}</title>",
        f"<style>{STYLE}</style>",
    ]


def pictures_section(pictures: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Yield pictures side by side, after the captions of those that could not be drawn.

    Parameters
    ----------
    pictures
        Caption and SVG element of each; the element is empty where there is nothing to draw.
    """
    yield from (f'<p class="note">{escaped(words)}</p>' for words, svg in pictures if not svg)
    yield '<div class="pictures">'
    for words, svg in pictures:
        if not svg:
            continue
        label = escaped(words)
        drawn = svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)
        yield f"<figure>{drawn}<figcaption>{label}</figcaption></figure>"
    yield "</div>"


def table_section(table: ReportTable, links: Sequence[str] = (), level: int = 2) -> Iterator[str]:
    """Yield a table under its title.

    Parameters
    ----------
    table
        The table.
    links
        Where the first cell of each row leads; empty for nowhere.
    level
        Level of the title.
    """
    yield f"<section><h{level}>{escaped(table.title)}</h{level}>"
    if table.rows:
        yield "<table>"
        if any(column.title for column in table.columns):
            titles = "".join(
                f'<th scope="col"{_class(column)}>{escaped(column.title)}</th>'
                for column in table.columns
            )
            yield f"<thead><tr>{titles}</tr></thead>"
        yield "<tbody>"
        for number, row in enumerate(table.rows):
            yield _row(row, table.columns, links[number] if links else "")
        yield "</tbody>"
        if table.total is not None:
            yield f"<tfoot>{_row(table.total, table.columns)}</tfoot>"
        yield "</table>"
    yield from (f'<p class="note">{escaped(note)}</p>' for note in table.notes)
    yield "</section>"


def _row(row: Sequence[Cell], columns: Sequence[TableColumn], link: str = "") -> str:
    cells = []
    for number, (cell, column) in enumerate(zip(row, columns, strict=True)):
        text = escaped(cell.text)
        if cell.interval:
            text += f" <small>({escaped(cell.interval)})</small>"
        if number == 0:
            text = f'<a href="{link}">{text}</a>' if link else text
            cells.append(f'<th scope="row"{_class(column)}>{text}</th>')
        else:
            cells.append(f"<td{_class(column)}>{text}</td>")
    return f"<tr>{''.join(cells)}</tr>"


def _class(column: TableColumn) -> str:
    """Return a column's classes: right-aligned numbers, and columns hidden on a phone."""
    names = [*(["right"] if column.right else []), *(["wide"] if column.from_width >= WIDE else [])]
    return f' class="{" ".join(names)}"' if names else ""


def escaped(text: str) -> str:
    """Return a text that a page shows as it is."""
    return escape(text.encode("utf-8", "replace").decode(), quote=True)
