"""A canvas of dots, finer than the terminal's cells: braille, or half blocks without it."""

# Which bit of a cell is which dot, [row][column]. Braille: dots 1 to 8 of the Unicode Standard's
# block U+2800, whose code points are the base plus these bits.
_BRAILLE_BASE = 0x2800
_BRAILLE_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
_HALF_BITS = ((0x01,), (0x02,))
_HALF_CHARS = " ▀▄█"


class DotCanvas:
    """Dots on so many columns and rows of cells; the dot 0, 0 is at the top left.

    Parameters
    ----------
    columns, rows
        Size in cells.
    half_blocks
        Draw in half blocks, one dot across and two down a cell, in place of braille with two
        across and four down.

    Examples
    --------
    >>> canvas = DotCanvas(2, 1)
    >>> canvas.line(0, 3, 3, 0)
    >>> "".join(canvas.char(column, 0) for column in range(2))
    '⡠⠊'
    """

    def __init__(self, columns: int, rows: int, *, half_blocks: bool = False) -> None:
        self._bits_of = _HALF_BITS if half_blocks else _BRAILLE_BITS
        self._half_blocks = half_blocks
        self._columns = columns
        self.cell_wide, self.cell_high = len(self._bits_of[0]), len(self._bits_of)
        self.wide, self.high = columns * self.cell_wide, rows * self.cell_high
        """Size in dots."""
        self._bits = bytearray(columns * rows)

    def dot(self, x: int, y: int) -> None:
        """Set a dot; one that lies outside is left out."""
        if 0 <= x < self.wide and 0 <= y < self.high:
            cell = y // self.cell_high * self._columns + x // self.cell_wide
            self._bits[cell] |= self._bits_of[y % self.cell_high][x % self.cell_wide]

    def line(self, x0: float, y0: float, x1: float, y1: float, *, pen: int = 1) -> None:
        """Draw a straight line with a square pen so many dots wide."""
        # far outside nothing is seen, and steps through it would take their time
        y0, y1 = (min(max(y, -self.high), 2.0 * self.high) for y in (y0, y1))
        x0, x1 = (min(max(x, -self.wide), 2.0 * self.wide) for x in (x0, x1))
        steps = max(1, round(max(abs(x1 - x0), abs(y1 - y0))))
        for step in range(steps + 1):
            x = round(x0 + (x1 - x0) * step / steps)
            y = round(y0 + (y1 - y0) * step / steps)
            for down in range(pen):
                for across in range(pen):
                    self.dot(x + across, y - down)

    def bits(self, column: int, row: int) -> int:
        """Tell which dots of a cell are set; 0 for none."""
        return self._bits[row * self._columns + column]

    def char(self, column: int, row: int) -> str:
        """Return the character that shows a cell."""
        bits = self.bits(column, row)
        if self._half_blocks:
            return _HALF_CHARS[bits]
        return chr(_BRAILLE_BASE + bits) if bits else " "
