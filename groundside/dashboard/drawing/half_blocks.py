"""Pictures of our own in half blocks: two square points above each other in each cell."""

from collections.abc import Sequence

_CELLS = {"..": " ", "#.": "▀", ".#": "▄", "##": "█"}


def half_blocks(rows: Sequence[str]) -> tuple[str, ...]:
    """Draw rows of points, `#` for a set one.

    Examples
    --------
    >>> half_blocks(["#.#", "##.", "..#"])
    ('█▄▀', '  ▀')
    """
    even = list(rows)
    if len(even) % 2:
        even.append("." * len(even[0]))
    return tuple(
        "".join(_CELLS[above + below] for above, below in zip(upper, lower, strict=True))
        for upper, lower in zip(even[::2], even[1::2], strict=True)
    )
