"""The cells of a row of buttons: keys, gaps, widths."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.dashboard.layout.button_cells import LEAST_CELLS, beside, cells, rows_of
from groundside.dashboard.widgets.button_bar import Button

WORD = st.text("abcdefghij", min_size=1, max_size=12)
BUTTON = st.builds(
    Button,
    WORD,
    st.just("it"),
    st.sampled_from(["", "a", "-", "enter"]),
    short=st.text("xyz", max_size=5),
)


def written(row: list[Button], *size: int, **more: Any) -> list[str]:
    """Return the lines of each cell, joined by a bar."""
    return [
        "|".join(line.key + line.words for line in cell.lines) for cell in cells(row, *size, **more)
    ]


ROW = [
    Button("pause", "", "space"),
    Button("minute back", "", "left", short="-1min"),
    Button("next event", "", "e", short="next"),
]


@pytest.mark.parametrize(
    ("size", "more", "lines"),
    [
        ((60,), {}, ["space pause", "left minute back", "e next event"]),
        ((30,), {}, ["space pause", "left -1min", "e next"]),
        # a second line takes the keys before labels are shortened
        ((30, 2), {}, ["space|pause", "left|minute back", "e|next event"]),
        ((18, 2), {}, ["space|pause", "left|-1min", "e|next"]),
        # a touch screen may do without a key, not without its label
        ((30, 3), {"keyless": True}, ["pause", "minute back", "next event"]),
        ((60, 3), {"keyless": True}, ["space pause", "left minute back", "e next event"]),
        ((18, 3), {"keyless": True}, ["pause", "-1min", "next"]),
    ],
)
def test_keys_stay_and_labels_give_way(
    size: tuple[int, ...], more: dict[str, Any], lines: list[str]
) -> None:
    # At 80x24 and 40x22 buttons once lost their keys.
    assert written(ROW, *size, **more) == lines


def test_a_sign_that_begins_a_label_is_its_key() -> None:
    # The buttons once read '- -0.1  + +0.1'.
    (line,) = beside("-", "-0.1")
    assert (line.key, line.words) == ("-", "0.1")
    (line,) = beside(",", "-1")
    assert (line.key, line.words) == (",", " -1")


@given(
    row=st.lists(BUTTON, min_size=1, max_size=10),
    width=st.integers(20, 200),
    height=st.integers(1, 3),
)
def test_cells_never_touch_nor_overflow(row: list[Button], width: int, height: int) -> None:
    found = cells(row, width, height)
    assert len(found) == len(row)
    assert found[0].begin == 0
    assert found[-1].end == width
    for cell, after in pairwise(found):
        assert after.begin == cell.end + 1
    for cell in found:
        assert len(cell.lines) <= height
        assert all(line.width <= cell.end - cell.begin for line in cell.lines)


@given(row=st.lists(BUTTON, min_size=1, max_size=12), width=st.integers(20, 120))
def test_rows_are_as_many_as_show_every_key(row: list[Button], width: int) -> None:
    rows = rows_of(row, width)
    assert [button for each in rows for button in each] == row
    for each in rows:
        for button, cell in zip(each, cells(each, width), strict=True):
            assert cell.end + 1 - cell.begin >= LEAST_CELLS
            assert cell.lines[0].key == button.key
    fixed = rows_of(row, width, 2)
    assert len(fixed) == min(2, len(row))
