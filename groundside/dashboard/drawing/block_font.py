"""Big type: glyphs of 6 by 7 pixels, stretched and drawn in half blocks.

Each row and column is stretched by its own weight, so that strokes stay as thick across as along (a
terminal cell is about twice as high as wide).
"""

from collections.abc import Mapping
from functools import lru_cache

from groundside.dashboard.drawing.half_blocks import half_blocks
from onboard.dataclass import dataclass

GLYPHS: Mapping[str, tuple[str, ...]] = {
    "0": (".####.", "##..##", "##..##", "##..##", "##..##", "##..##", ".####."),
    "1": ("..##..", ".###..", "..##..", "..##..", "..##..", "..##..", "######"),
    "2": (".####.", "##..##", "....##", "..###.", ".##...", "##....", "######"),
    "3": ("#####.", "....##", "....##", ".####.", "....##", "....##", "#####."),
    "4": ("##..##", "##..##", "##..##", "######", "....##", "....##", "....##"),
    "5": ("######", "##....", "##....", "#####.", "....##", "....##", "#####."),
    "6": (".####.", "##....", "##....", "#####.", "##..##", "##..##", ".####."),
    "7": ("######", "....##", "....##", "...##.", "..##..", "..##..", "..##.."),
    "8": (".####.", "##..##", "##..##", ".####.", "##..##", "##..##", ".####."),
    "9": (".####.", "##..##", "##..##", ".#####", "....##", "....##", ".####."),
    "-": ("......", "......", "......", "######", "......", "......", "......"),
    ".": ("..", "..", "..", "..", "..", "..", "##"),
    " ": ("......",) * 7,
    "A": (".####.", "##..##", "##..##", "######", "##..##", "##..##", "##..##"),
    "B": ("#####.", "##..##", "##..##", "#####.", "##..##", "##..##", "#####."),
    "C": (".#####", "##....", "##....", "##....", "##....", "##....", ".#####"),
    "D": ("#####.", "##..##", "##..##", "##..##", "##..##", "##..##", "#####."),
    "E": ("######", "##....", "##....", "#####.", "##....", "##....", "######"),
    "G": (".#####", "##....", "##....", "##.###", "##..##", "##..##", ".#####"),
    "H": ("##..##", "##..##", "##..##", "######", "##..##", "##..##", "##..##"),
    "J": ("....##", "....##", "....##", "....##", "....##", "##..##", ".####."),
    "K": ("##..##", "##.##.", "####..", "###...", "####..", "##.##.", "##..##"),
    "L": ("##....", "##....", "##....", "##....", "##....", "##....", "######"),
    "N": ("##..##", "###.##", "###.##", "######", "##.###", "##.###", "##..##"),
    "O": (".####.", "##..##", "##..##", "##..##", "##..##", "##..##", ".####."),
    "P": ("#####.", "##..##", "##..##", "#####.", "##....", "##....", "##...."),
    "R": ("#####.", "##..##", "##..##", "#####.", "####..", "##.##.", "##..##"),
    "S": (".#####", "##....", "##....", ".####.", "....##", "....##", "#####."),
    "T": ("######", "..##..", "..##..", "..##..", "..##..", "..##..", "..##.."),
    "U": ("##..##", "##..##", "##..##", "##..##", "##..##", "##..##", ".####."),
    "W": ("##..##", "##..##", "##..##", "##..##", "######", "######", ".#..#."),
    "Y": ("##..##", "##..##", "##..##", ".####.", "..##..", "..##..", "..##.."),
}


@dataclass(frozen=True)
class TypeSize:
    """How much the glyphs are stretched.

    Parameters
    ----------
    columns
        Width of each of the six pixel columns, in cells.
    halves
        Height of each of the seven pixel rows, in half cells.
    gap
        Width between two glyphs, in cells.
    """

    columns: tuple[int, ...]
    halves: tuple[int, ...]
    gap: int

    @property
    def rows(self) -> int:
        """Height in rows of the terminal."""
        return (sum(self.halves) + 1) // 2

    def width(self, text: str) -> int:
        """Width of a text in columns of the terminal."""
        if not text:
            return 0
        wide, dot = sum(self.columns), sum(self.columns[:2])
        glyphs = sum(dot if char == "." else wide for char in text)
        return glyphs + self.gap * (len(text) - 1)


SIZES = (
    TypeSize((1, 1, 1, 1, 1, 1), (1, 1, 1, 1, 1, 1, 1), 1),  # 4 rows
    TypeSize((1, 1, 1, 1, 1, 1), (2, 1, 1, 1, 1, 1, 2), 1),  # 5 rows
    TypeSize((1, 1, 1, 1, 1, 1), (2, 2, 2, 1, 2, 2, 2), 1),  # 7 rows
    TypeSize((2, 1, 2, 1, 1, 2), (2, 2, 1, 2, 2, 2, 2), 2),  # 7 rows, wider
    TypeSize((2, 1, 2, 1, 1, 2), (3, 2, 2, 3, 2, 2, 3), 2),  # 9 rows
    TypeSize((2, 1, 2, 1, 1, 2), (3, 3, 3, 3, 3, 3, 3), 2),  # 11 rows
    TypeSize((2, 2, 2, 2, 2, 2), (4, 3, 2, 3, 3, 2, 4), 2),  # 11 rows, wider
    TypeSize((2, 2, 2, 2, 2, 2), (4, 3, 3, 3, 3, 3, 4), 2),  # 12 rows
    TypeSize((2, 2, 2, 2, 2, 2), (4, 4, 4, 3, 4, 4, 4), 3),  # 14 rows
    TypeSize((3, 2, 3, 2, 2, 3), (5, 4, 4, 5, 4, 4, 5), 3),  # 16 rows
    TypeSize((3, 3, 3, 3, 3, 3), (6, 6, 6, 5, 6, 6, 6), 4),  # 21 rows
    TypeSize((4, 3, 4, 3, 3, 4), (7, 7, 6, 7, 6, 7, 7), 4),  # 24 rows
    TypeSize((4, 4, 4, 4, 4, 4), (8, 8, 8, 7, 8, 8, 8), 5),  # 28 rows
    TypeSize((5, 4, 5, 4, 4, 5), (9, 9, 8, 9, 8, 9, 9), 5),  # 31 rows
    TypeSize((5, 5, 5, 5, 5, 5), (10, 10, 10, 9, 10, 10, 10), 6),  # 35 rows
    TypeSize((6, 6, 6, 6, 6, 6), (12, 12, 12, 11, 12, 12, 12), 7),  # 42 rows
)
"""All sizes, from small to large. Each leaves half a row clear, so that the digits stand off what
is below."""

SMALLEST_ROWS = SIZES[0].rows


def fitting(text: str, width: int, rows: int) -> TypeSize | None:
    """Return the largest size in which a text fits; None if none does.

    Examples
    --------
    >>> fitting("88.8", 40, 7).rows
    7
    """
    for size in reversed(SIZES):
        if size.rows <= rows and size.width(text) <= width:
            return size
    return None


@lru_cache(maxsize=128)
def draw(text: str, size: TypeSize, *, hatched: bool = False, above: int = 0) -> tuple[str, ...]:
    """Draw a text.

    Parameters
    ----------
    text
        Characters of `GLYPHS`.
    size
        The size.
    hatched
        Whether to draw with a pattern instead of solid blocks, which reads as 'old' without colour.
    above
        Half rows left clear above the text.

    Returns
    -------
    tuple of str
        Lines of equal width; `size.rows` of them if `above` is 0.
    """
    lines = ["." * size.width(text)] * above
    for row, halves in enumerate(size.halves):
        line = (" " * size.gap).join(_stretched(GLYPHS[char][row], size) for char in text)
        lines += [line] * halves
    drawn = half_blocks(lines)
    if not hatched:
        return drawn
    # the pattern character exists for whole cells only
    return tuple("".join(" " if cell == " " else "▒" for cell in line) for line in drawn)


def _stretched(pixels: str, size: TypeSize) -> str:
    return "".join(pixel * weight for pixel, weight in zip(pixels, size.columns, strict=False))
