"""The band of a cue: its word in the largest type with room around it, its shape, its sentences.

A low band has the word in spaced capitals beside a shape of three rows; the lowest is one line.
"""

from groundside.dashboard.drawing.block_font import SIZES, TypeSize
from groundside.dashboard.drawing.block_font import draw as draw_type
from groundside.dashboard.drawing.painted import joined, shortened, wrapped

TEMPLATE = "EASE"
"""All four words are of this width."""
SHAPE_COLUMNS = 12
"""Columns that big type leaves at least for the shape and the margins."""
CLEAR_HALVES = 3
"""Half rows left clear above and below the letters, together."""
LOW_ROWS = 3
SIGNS = {"ease": "vv", "hold": "==", "push": "^^", "turn": "!!"}
LOW_SHAPES = {
    "ease": ("▀▀▀▀▀▀▀", " ▀▀▀▀▀ ", "   ▀   "),
    "push": ("   ▄   ", " ▄▄▄▄▄ ", "▄▄▄▄▄▄▄"),
    "hold": ("▄▄▄", "   ", "▀▀▀"),
    "turn": ("▄  ", "███", "▀  "),
}


def band_sizes(width: int) -> tuple[int, ...]:
    """Return the heights at which the type in a band of this width grows [rows], lowest first.

    Examples
    --------
    >>> band_sizes(40), band_sizes(72)
    ((6, 7, 9), (6, 7, 9, 11, 13, 14, 16))
    """
    fitting = [size for size in SIZES if size.width(TEMPLATE) + SHAPE_COLUMNS <= width]
    return tuple(sorted({_rows(size) for size in fitting}))


def _rows(size: TypeSize) -> int:
    """Return the height of a band with type of this size and a line of text below it."""
    return -(-(sum(size.halves) + CLEAR_HALVES) // 2) + 1


def band_lines(word: str, parts: tuple[str, ...], width: int, height: int) -> list[str]:
    """Draw the band of a cue.

    Parameters
    ----------
    word
        `ease`, `hold`, `push` or `turn`.
    parts
        Sentences, most important first; as many as fit are shown.
    width, height
        Size in cells.

    Returns
    -------
    list of str
        `height` lines of `width` cells, blank ones included.
    """
    for size in reversed(SIZES):
        if size.width(TEMPLATE) + SHAPE_COLUMNS <= width and _rows(size) <= height:
            return _large(word, parts, size, width, height)
    if height >= LOW_ROWS:
        return _low(word, parts, width, height)
    sign = SIGNS[word]
    head = f" {sign} {word.upper()} {sign}  "
    if height == 2:
        lines = [shortened(head, width), " " + joined(parts, width - 2)]
    else:
        lines = [shortened(head + joined(parts, max(0, width - len(head) - 1)), width)]
    return [line.ljust(width) for line in lines]


def _large(word: str, parts: tuple[str, ...], size: TypeSize, width: int, height: int) -> list[str]:
    """Draw the word in big type, and the sentences on the line below it."""
    halves = 2 * (height - 1)
    above = (halves - sum(size.halves) + 1) // 2
    letters = draw_type(word.upper(), size, above=above)
    lines = _placed(word, letters, above, sum(size.halves), width)
    lines += [" " * width] * (height - 1 - len(lines))
    return [*lines, _at_place(word, joined(parts, width - 4), width, 2)]


def _at_place(word: str, text: str, width: int, margin: int) -> str:
    """Place a text: `ease` is on the left, `push` on the right, the others in the middle."""
    room = width - 2 * margin
    placed = {"ease": text.ljust, "push": text.rjust}.get(word, text.center)(room)
    return f"{'':{margin}}{placed}{'':{margin}}"


def _placed(word: str, letters: tuple[str, ...], above: int, halves: int, width: int) -> list[str]:
    """Put a shape as high as the letters beside them."""
    first, rows = above // 2, len(letters)
    high = max(1, halves // 2)
    if word in ("ease", "push"):
        widths = [2 * y + 1 for y in range(high)]
        widest = min(widths[-1], width - len(letters[0]) - 6)
        drawn = [("█" * min(w, widest)).center(widest) for w in widths]
        shape = _column(drawn[::-1] if word == "ease" else drawn, first, rows, widest)
        pairs = zip(shape, letters, strict=True)
        if word == "ease":
            return [f"  {s}  {line}".ljust(width) for s, line in pairs]
        return [f"{line}  {s}  ".rjust(width) for s, line in pairs]
    side = max(1, min((width - len(letters[0])) // 2 - 3, 2 * high))
    if word == "turn":
        bars = ["█" * min(side, 2 * min(y, high - 1 - y) + 1) for y in range(high)]
        left = _column([f"{bar:<{side}}" for bar in bars], first, rows, side)
        right = _column([f"{bar:>{side}}" for bar in bars], first, rows, side)
    else:
        thick = max(1, high // 5)
        full = {*range(thick, 2 * thick), *range(high - 2 * thick, high - thick)}
        level = [("█" if y in full else " ") * side for y in range(high)]
        left = right = _column(level, first, rows, side)
    sides = zip(left, letters, right, strict=True)
    return [f"{one}  {line}  {other}".center(width) for one, line, other in sides]


def _column(drawn: list[str], first: int, rows: int, width: int) -> list[str]:
    """Return a drawing with blank rows above and below it."""
    blank = " " * width
    return [blank] * first + drawn + [blank] * (rows - first - len(drawn))


def _low(word: str, parts: tuple[str, ...], width: int, height: int) -> list[str]:
    """Write the word in spaced capitals with the sentences below it, beside a shape."""
    shape = LOW_SHAPES[word]
    both = word in ("hold", "turn")
    beside = (len(shape[0]) + 2) * (2 if both else 1)
    room = width - beside - 2
    first = parts[0] if parts else ""
    off, colon, what_to_do = first.partition(": ")
    whole = len(first) > room >= max(len(off) + 1, len(what_to_do))
    said = [off + colon.rstrip(), what_to_do] if whole and colon else wrapped(first, room)
    texts = [" ".join(word.upper()), *said[: height - 1]]
    for part in parts[1:]:
        if len(texts) < height:
            texts.append(shortened(part, room))
    rows = max(LOW_ROWS, len(texts))
    top = (height - rows) // 2
    lines = [" " * width] * height
    for y in range(rows):
        text = texts[y] if y < len(texts) else ""
        drawn = shape[y] if y < LOW_ROWS else " " * len(shape[0])
        if word == "ease":
            line = f" {drawn}  {text}".ljust(width)
        elif word == "push":
            line = f"{text}  {drawn} ".rjust(width)
        else:
            other = drawn[::-1]
            line = f" {drawn}  {text.center(room)}  {other} "
        lines[top + y] = line[:width].ljust(width)
    return lines
