"""A screen as a self-contained SVG picture: no font, no script, no link.

Text stays text in whatever monospaced font the reader has, each run stretched to its cells. Blocks
and braille are drawn as shapes, so that they join without seams.

The format is W3C's SVG 1.1 (from memory); a test parses each picture as XML.
"""

from collections.abc import Iterator
from xml.sax.saxutils import escape

from textual.strip import Strip

from onboard.dataclass import dataclass

WIDE, HIGH = 10, 20
"""Size of a cell [px]."""
BASELINE = 15
"""From the top of a cell to the baseline of its text [px]."""
BRAILLE = 0x2800
"""First braille pattern of the Unicode Standard: dots 1 to 8 are the low bits."""
DOTS = ((0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (0, 3), (1, 3))
"""Column and row of the dot of each bit."""
DOT = 3
"""Size of a dot [px]."""
BLOCKS = {
    "█": ((0, 0, 1, 1),),
    "▀": ((0, 0, 1, 0.5),),
    "▄": ((0, 0.5, 1, 1),),
    "▌": ((0, 0, 0.5, 1),),
    "▐": ((0.5, 0, 1, 1),),
    "━": ((0, 0.4, 1, 0.6),),
    "┃": ((0.35, 0, 0.65, 1),),
    "─": ((0, 0.47, 1, 0.53),),
    "│": ((0.45, 0, 0.55, 1),),
    "┤": ((0.45, 0, 0.55, 1), (0, 0.47, 0.5, 0.53)),
    "└": ((0.45, 0, 0.55, 0.53), (0.45, 0.47, 1, 0.53)),
    "┴": ((0, 0.47, 1, 0.53), (0.45, 0.2, 0.55, 0.5)),
    "═": ((0, 0.35, 1, 0.45), (0, 0.55, 1, 0.65)),
}
"""Rectangles of each character, as shares of a cell: left, top, right, bottom."""


@dataclass(frozen=True)
class Run:
    """Adjacent cells of one style: place, text and colours."""

    column: int
    row: int
    text: str
    ink: str
    paper: str
    bold: bool


def runs(strips: list[Strip]) -> Iterator[Run]:
    """Yield the runs of a screen, row by row.

    Parameters
    ----------
    strips
        The screen's rows, with their colours resolved.
    """
    for row, strip in enumerate(strips):
        column = 0
        for segment in strip:
            style = segment.style
            assert style is not None
            assert style.color is not None
            assert style.bgcolor is not None
            colours = (style.color, style.bgcolor)
            ink, paper = (colour.get_truecolor().hex for colour in colours)
            if style.reverse:
                ink, paper = paper, ink
            yield Run(column, row, segment.text, ink, paper, bool(style.bold))
            column += len(segment.text)


def screen_svg(strips: list[Strip], paper: str, words: str) -> str:
    """Return a screen as SVG.

    Parameters
    ----------
    strips
        The screen's rows.
    paper
        Colour of the page, as `#rrggbb`.
    words
        What the picture shows, for those who cannot see it.
    """
    width, height = strips[0].cell_length * WIDE, len(strips) * HIGH
    body: list[str] = []
    for run in runs(strips):
        body += _drawn(run, paper)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
            'font-family="monospace" font-size="16"'
            ' shape-rendering="crispEdges" xml:space="preserve">',
            f"<title>{escape(words)}</title>",
            f'<rect width="{width}" height="{height}" fill="{paper}"/>',
            *body,
            "</svg>\n",
        ]
    )


def _drawn(run: Run, paper: str) -> Iterator[str]:
    """Yield the shapes of a run: its paper, its blocks and dots, its text."""
    x, y = run.column * WIDE, run.row * HIGH
    if run.paper != paper:
        size = f'width="{len(run.text) * WIDE}" height="{HIGH}"'
        yield f'<rect x="{x}" y="{y}" {size} fill="{run.paper}"/>'
    shapes = "".join(
        _shape(char, x + place * WIDE, y) for place, char in enumerate(run.text) if char != " "
    )
    if shapes:
        yield f'<path fill="{run.ink}" d="{shapes}"/>'
    weight = ' font-weight="bold"' if run.bold else ""
    for start, text in _words(run.text):
        fit = f'textLength="{len(text) * WIDE}" lengthAdjust="spacingAndGlyphs"'
        place = f'x="{x + start * WIDE}" y="{y + BASELINE}"'
        yield f'<text {place} {fit} fill="{run.ink}"{weight}>{escape(text)}</text>'


def _is_drawn(char: str) -> bool:
    return char in BLOCKS or char == "▒" or BRAILLE <= ord(char) < BRAILLE + 256


def _shape(char: str, x: int, y: int) -> str:
    """Return the path of a character that is drawn; empty for text."""
    if char == "▒":
        corners = [(x + 5 * (n % 2), y + 5 * n) for n in range(4)]
        return "".join(f"M{left} {top}h5v5h-5z" for left, top in corners)
    if char in BLOCKS:
        return "".join(
            f"M{x + left * WIDE:g} {y + top * HIGH:g}h{(right - left) * WIDE:g}"
            f"v{(bottom - top) * HIGH:g}h{(left - right) * WIDE:g}z"
            for left, top, right, bottom in BLOCKS[char]
        )
    if not _is_drawn(char):
        return ""
    bits = ord(char) - BRAILLE
    return "".join(
        f"M{x + 1 + 5 * column} {y + 1 + 5 * row}h{DOT}v{DOT}h-{DOT}z"
        for bit, (column, row) in enumerate(DOTS)
        if bits >> bit & 1
    )


def _words(text: str) -> Iterator[tuple[int, str]]:
    """Yield the stretches of ordinary text, parted by two blanks, with their places."""
    plain = "".join(" " if _is_drawn(char) else char for char in text)
    start = 0
    while start < len(plain):
        if plain[start] == " ":
            start += 1
            continue
        end = plain.find("  ", start)
        end = len(plain) if end < 0 else end
        stretch = plain[start:end].rstrip()
        yield start, stretch
        start += len(stretch)
