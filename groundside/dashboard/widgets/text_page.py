"""A page of text in as many columns as fit; the rest goes to further pages."""

from typing import ClassVar

from textual.geometry import Size

from groundside.dashboard.content.items import Block
from groundside.dashboard.drawing.painted import Line, Painted, piece_width, wrapped

COLUMN = 52
"""Minimum width of a column of text, if there is more than one."""
NAME_MOST = 14


class TextPage(Painted):
    """Shows blocks of items; `content` is a tuple of blocks.

    Parameters
    ----------
    id
        The toolkit's widget id.
    one_page
        Whether to omit the last items of a block that does not fit, rather than add a page.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {"page--name", "page--text", "page--strong"}

    def __init__(self, *, id: str | None = None, one_page: bool = False) -> None:
        super().__init__(id=id)
        self._one_page = one_page
        self._page = 0
        self.pages = 1
        """Number of pages when it was last painted."""

    def turn(self) -> None:
        """Turn to the next page; the first follows the last."""
        self._page += 1
        self.lay_out()

    def paint(self, size: Size) -> list[Line]:
        """Return the lines of the current page."""
        across = 1 if self._one_page else max(1, size.width // COLUMN)
        wide = size.width // across
        rows = size.height if self._one_page else None
        items = [_items(block, wide - 1, rows) for block in self.content if block]
        blocks = [[line for item in block for line in item] for block in items]
        level = balanced(items, across, size.height) if across > 1 else None
        pages = spread(blocks, across, size.height) if level is None else [level]
        if len(pages) > 1:
            pages = spread(blocks, across, size.height, apart=0)
        if len(pages) > 1:  # a row for the page number
            pages = spread(blocks, across, size.height - 1)
        self.pages = len(pages)
        page = self._page % len(pages)
        rows = max((len(column) for column in pages[page]), default=0)
        lines = [
            _beside([c[y] if y < len(c) else [] for c in pages[page]], wide) for y in range(rows)
        ]
        if len(pages) > 1:
            lines += [[] for _ in range(size.height - 1 - len(lines))]
            lines.append([(f" page {page + 1} of {len(pages)}", "page--name")])
        return lines


def spread(
    blocks: list[list[Line]], across: int, rows: int, *, apart: int = 1
) -> list[list[list[Line]]]:
    """Spread blocks of lines over columns and pages.

    A block is broken only where a column cannot hold it whole.

    Parameters
    ----------
    blocks
        Blocks in reading order.
    across
        Columns side by side on a page.
    rows
        Height of a column.
    apart
        Blank lines between two blocks.

    Returns
    -------
    list of list of list of Line
        Pages of columns of lines; at least one page.

    Examples
    --------
    >>> one, two = [[("a", "")]], [[("b", "")], [("c", "")]]
    >>> spread([one, two], 1, 3)
    [[[[('a', '')]]], [[[('b', '')], [('c', '')]]]]
    """
    rows = max(1, rows)
    columns: list[list[Line]] = [[]]
    for block in blocks:
        left = rows - len(columns[-1]) - (apart if columns[-1] else 0)
        if columns[-1] and (len(block) <= left or (len(block) > rows and left >= 2)):
            columns[-1] += [[] for _ in range(apart)]
        elif columns[-1]:
            columns.append([])
        for line in block:
            if len(columns[-1]) == rows:
                columns.append([])
            columns[-1].append(line)
    return [columns[n : n + across] for n in range(0, len(columns), across)]


def balanced(blocks: list[list[list[Line]]], across: int, rows: int) -> list[list[Line]] | None:
    """Return all blocks in columns of about equal height; None if they do not fit.

    A blank line parts two items if there is room, and always two blocks.

    Parameters
    ----------
    blocks
        The lines of each item of each block.
    across
        Number of columns.
    rows
        Height of a column.

    Examples
    --------
    >>> one, two = [[("a", "")]], [[("b", "")]]
    >>> balanced([[one, two]], 2, 3)
    [[[('a', '')]], [[('b', '')]]]
    """
    for apart in (1, 0):
        for height in range(1, rows + 1):
            columns = _filled(blocks, height, apart)
            if columns is not None and len(columns) <= across:
                return columns
    return None


def _filled(blocks: list[list[list[Line]]], height: int, apart: int) -> list[list[Line]] | None:
    """Return columns of this height, filled item by item; None if an item is higher than that."""
    columns: list[list[Line]] = [[]]
    for block in blocks:
        for place, item in enumerate(block):
            if len(item) > height:
                return None
            blank = (apart if place else 1) if columns[-1] else 0
            if len(columns[-1]) + blank + len(item) > height:
                columns.append([])
                blank = 0
            columns[-1] += [*([] for _ in range(blank)), *item]
    return columns


def _items(block: Block, width: int, rows: int | None = None) -> list[list[Line]]:
    """Write names in a column and their texts beside them, wrapped: the lines of each item.

    From the first item that exceeds `rows` on, items are omitted.
    """
    names = max(len(item.name) for item in block)
    column = min(names, NAME_MOST) + (3 if names else 1)
    written: list[list[Line]] = []
    for item in block:
        style = "page--strong" if item.strong else "page--text"
        texts = wrapped(item.text, max(8, width - column))
        if rows is not None and sum(map(len, written)) + len(texts) > rows:
            break
        lines: list[Line] = []
        for y, text in enumerate(texts):
            name = f" {item.name if y == 0 else ''}".ljust(column)
            lines.append([(name, "page--strong" if item.strong else "page--name"), (text, style)])
        written.append(lines)
    return written


def _beside(lines: list[Line], wide: int) -> Line:
    """Join the lines of columns side by side."""
    whole: Line = []
    for place, line in enumerate(lines):
        gap = place * wide - piece_width(whole)
        if gap > 0:
            whole = [*whole, (" " * gap, "")]
        whole = [*whole, *line]
    return whole
