"""The rows of frame and ride view at every size."""

import dataclasses
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.dashboard.drawing.block_font import fitting
from groundside.dashboard.layout.frame_rows import VIEW_ROWS_LEAST, frame_rows
from groundside.dashboard.layout.ride_rows import BIG_FIGURE_TEMPLATE, ride_rows


@given(
    size=st.tuples(st.integers(20, 250), st.integers(10, 80)),
    caution=st.integers(0, 3),
    needed=st.fixed_dictionaries(
        {
            "notices": st.integers(1, 3),
            "actions": st.integers(0, 2),
            "replay": st.booleans(),
            "touch": st.booleans(),
        }
    ),
    cue=st.booleans(),
)
def test_rows_never_exceed_the_height(
    size: tuple[int, int], caution: int, needed: dict[str, Any], cue: bool
) -> None:
    frame = frame_rows(*size, caution=caution, **needed)
    assert sum(dataclasses.astuple(frame)) == size[1]
    assert min(dataclasses.astuple(frame)) >= 0
    assert frame.notices >= 1
    assert frame.tabs >= 1
    assert frame.view >= VIEW_ROWS_LEAST
    if size[1] >= 22:
        assert frame.notices == needed["notices"]
        assert frame.caution == caution
        assert frame.age == 1
        assert frame.actions >= needed["actions"]
    rows = ride_rows(size[0], frame.view, cue=cue)
    assert rows.total + rows.spare == frame.view
    if cue and size[0] >= 40 and size[1] >= 22:
        # The cue once was one row of ordinary text while the caution stood.
        assert rows.cue >= 3


@pytest.mark.parametrize("cue", [False, True])
@pytest.mark.parametrize(
    "size", [(40, 36), (60, 26), (80, 21), (48, 34), (76, 54), (92, 64), (240, 30)]
)
def test_the_glance_fills_the_room(size: tuple[int, int], cue: bool) -> None:
    # Digits of 14 rows once stood in a screen of 70.
    rows = ride_rows(*size, cue=cue)
    across = 2 if rows.side_by_side else 1
    letters = fitting(BIG_FIGURE_TEMPLATE, size[0] // across - 2, rows.figure - 1)
    assert letters is not None
    assert rows.spare <= (1 if cue else size[1] // 4)
    assert rows.figure * (3 - across) + rows.cue >= (0.7 if cue else 0.55) * size[1]


@pytest.mark.parametrize("touch", [False, True])
@pytest.mark.parametrize("size", [(40, 22), (44, 46), (80, 19), (120, 40)])
def test_buttons_on_a_phone_are_three_rows_high(size: tuple[int, int], touch: bool) -> None:
    frame = frame_rows(*size, touch=touch)
    # A tall phone has its tabs in two rows, a low terminal gives its rows to the view.
    wanted = {(44, 46): 6, (80, 19): 2 if touch else 1}
    assert frame.tabs == wanted.get(size, 3)


@pytest.mark.parametrize(
    ("size", "cue", "figure", "cue_rows"),
    [((40, 22), False, 7, 0), ((40, 22), True, 5, 6), ((80, 24), True, 10, 7)],
)
def test_big_figures_are_big(size: tuple[int, int], cue: bool, figure: int, cue_rows: int) -> None:
    rows = ride_rows(size[0], frame_rows(*size).view, cue=cue)
    assert (rows.figure, rows.cue) == (figure, cue_rows)
    assert rows.table * rows.table_columns >= (2 if cue and size[0] == 40 else 6)
