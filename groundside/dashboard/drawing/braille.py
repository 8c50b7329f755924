"""A canvas of braille dots, finer than the terminal's cells: two across, four down in each."""

_BASE = 0x2800
_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""The bit of each dot, [row][column]: dots 1 to 8 of the Unicode Standard's block U+2800, where a
code point is the base plus the bits of its dots."""


class DotCanvas:
    """Dots on a grid of cells; dot 0, 0 is at the top left.

    Parameters
    ----------
    columns, rows
        Size in cells.

    Examples
    --------
    >>> canvas = DotCanvas(2, 1)
    >>> canvas.line(0, 3, 3, 0)
    >>> "".join(canvas.char(column, 0) for column in range(2))
    '⡠⠊'
    """

    def __init__(self, columns: int, rows: int) -> None:
        self._columns = columns
        self.wide, self.high = columns * 2, rows * 4
        """Size in dots."""
        self._cells = bytearray(columns * rows)

    def dot(self, x: int, y: int) -> None:
        """Set a dot; ignore one outside the canvas."""
        if 0 <= x < self.wide and 0 <= y < self.high:
            self._cells[y // 4 * self._columns + x // 2] |= _BITS[y % 4][x % 2]

    def line(self, x0: float, y0: float, x1: float, y1: float, *, pen: int = 1) -> None:
        """Draw a straight line with a square pen, `pen` dots wide."""
        # clip: nothing is visible far outside, and stepping through it would be slow
        y0, y1 = (min(max(y, -self.high), 2.0 * self.high) for y in (y0, y1))
        x0, x1 = (min(max(x, -self.wide), 2.0 * self.wide) for x in (x0, x1))
        steps = max(1, round(max(abs(x1 - x0), abs(y1 - y0))))
        for step in range(steps + 1):
            x = round(x0 + (x1 - x0) * step / steps)
            y = round(y0 + (y1 - y0) * step / steps)
            for down in range(pen):
                for across in range(pen):
                    self.dot(x + across, y - down)

    def is_set(self, column: int, row: int) -> bool:
        """Return whether any dot of a cell is set."""
        return self._cells[row * self._columns + column] != 0

    def char(self, column: int, row: int) -> str:
        """Return the character that shows a cell."""
        bits = self._cells[row * self._columns + column]
        return chr(_BASE + bits) if bits else " "
