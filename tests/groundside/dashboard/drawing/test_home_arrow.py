"""The arrow home."""

import pytest

from groundside.dashboard.drawing.home_arrow import home_arrow


@pytest.mark.parametrize("rows", [5, 9, 12, 14, 20, 24])
def test_an_arrow_back_is_the_arrow_ahead_upside_down(rows: int) -> None:
    # A large arrow once showed only what covers the upper half of each point.
    ahead, back = (home_arrow(angle, 2 * rows, rows) for angle in (0, 180))
    flipped = {ord("▀"): "▄", ord("▄"): "▀"}
    assert [line.translate(flipped) for line in reversed(back)] == [line[::-1] for line in ahead]
    assert [line[::-1] for line in ahead] == list(ahead)
