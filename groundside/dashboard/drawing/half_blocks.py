"""Pictures in half blocks: two square points, one above the other, in each cell.

Every terminal font has half blocks.
"""

from collections.abc import Sequence

_CELLS = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def half_blocks(rows: Sequence[str]) -> tuple[str, ...]:
    """Draw rows of points; `#` marks a set point.

    Examples
    --------
    >>> half_blocks(["#.#", "##.", "..#"])
    ('█▄▀', '  ▀')
    """
    even = [*rows, "." * len(rows[0])] if len(rows) % 2 else rows
    return tuple(
        "".join(_CELLS[a == "#", b == "#"] for a, b in zip(above, below, strict=True))
        for above, below in zip(even[::2], even[1::2], strict=True)
    )
