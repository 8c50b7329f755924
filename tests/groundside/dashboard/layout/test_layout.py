"""The rows of frame and ride view at every size."""

import dataclasses
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.dashboard.drawing.block_font import fitting
from groundside.dashboard.layout.frame_rows import (
    ROWS_ABOVE,
    TALL_ROWS,
    VIEW_ROWS_LEAST,
    frame_rows,
    rows_of_tabs,
)
from groundside.dashboard.layout.ride_rows import BIG_FIGURE_TEMPLATE, ride_rows


@given(
    size=st.tuples(st.integers(20, 250), st.integers(10, 80)),
    needed=st.fixed_dictionaries(
        {
            "notices": st.integers(1, 3),
            "caution": st.booleans(),
            "actions": st.integers(0, 2),
            "age": st.booleans(),
            "replay": st.booleans(),
            "touch": st.booleans(),
        }
    ),
    cue=st.booleans(),
)
def test_rows_never_exceed_the_height(
    size: tuple[int, int], needed: dict[str, Any], cue: bool
) -> None:
    frame = frame_rows(*size, **needed)
    assert sum(dataclasses.astuple(frame)) == size[1]
    assert min(dataclasses.astuple(frame)) >= 0
    assert frame.notices >= 1
    assert frame.tabs >= 1
    assert frame.view >= VIEW_ROWS_LEAST
    if size[1] >= 22 and not needed["touch"]:
        assert frame.notices == needed["notices"]
        waits = needed["notices"] >= ROWS_ABOVE and size[1] < TALL_ROWS
        assert frame.caution == (needed["caution"] and not waits)
        assert waits or size[1] >= TALL_ROWS or frame.notices + frame.caution <= ROWS_ABOVE
        assert frame.age >= needed["age"]
        assert frame.actions >= needed["actions"]
    rows = ride_rows(size[0], frame.view, cue=cue)
    assert rows.total + rows.spare == frame.view
    if cue and size[0] >= 40 and size[1] >= 22:
        # While the caution stood, the cue was once a single row of ordinary text.
        assert rows.cue >= 3


@pytest.mark.parametrize("cue", [False, True])
@pytest.mark.parametrize(
    "size", [(40, 36), (60, 26), (80, 21), (48, 34), (76, 54), (92, 64), (240, 30)]
)
def test_the_glance_fills_the_room(size: tuple[int, int], cue: bool) -> None:
    # A screen of 70 rows once had digits of 14.
    rows = ride_rows(*size, cue=cue)
    across = 2 if rows.side_by_side else 1
    letters = fitting(BIG_FIGURE_TEMPLATE, size[0] // across - 2, rows.figure - 1)
    assert letters is not None
    assert rows.spare <= (1 if cue else size[1] // 4)
    assert rows.figure * (3 - across) + rows.cue >= (0.7 if cue else 0.55) * size[1]


@given(
    size=st.one_of(
        st.tuples(st.integers(60, 120), st.integers(15, 60)),
        st.tuples(st.integers(40, 59), st.integers(30, 60)),
    ),
    caution=st.booleans(),
    replay=st.booleans(),
    actions=st.integers(0, 1),
)
def test_a_touch_screen_has_only_buttons_of_three_rows(
    size: tuple[int, int], caution: bool, replay: bool, actions: int
) -> None:
    # WCAG 2.2, success criterion 2.5.5, Target Size (Enhanced): at least 44 by 44 CSS px; a row of
    # the browser's page has at least 15 px
    frame = frame_rows(*size, caution=caution, replay=replay, actions=actions, touch=True)
    assert frame.tabs == (6 if size[0] < 60 else 3)
    assert frame.actions == 3 * actions
    assert frame.controls in ((3,) if replay and size[1] >= 18 else (0, 3))


@pytest.mark.parametrize(
    ("size", "tabs"),
    [
        ((40, 22), 4),
        ((44, 46), 6),
        ((60, 30), 2),
        ((71, 24), 2),
        ((72, 24), 1),
        ((80, 19), 1),
        ((100, 40), 3),
        ((120, 40), 1),
    ],
)
def test_tabs_stand_in_two_rows_on_a_phone_held_upright(size: tuple[int, int], tabs: int) -> None:
    assert frame_rows(*size).tabs == tabs
    assert rows_of_tabs(size[0]) == (2 if size[0] < 60 else 1)


def test_fresh_data_give_a_low_terminal_s_view_their_row() -> None:
    assert [frame_rows(40, 22, age=age).age for age in (False, True)] == [0, 1]
    assert [frame_rows(80, 24, age=age).age for age in (False, True)] == [1, 1]


@pytest.mark.parametrize(
    ("size", "cue", "figure", "cue_rows"),
    [((40, 22), False, 7, 0), ((40, 22), True, 5, 6), ((80, 24), True, 10, 7)],
)
def test_big_figures_are_big(size: tuple[int, int], cue: bool, figure: int, cue_rows: int) -> None:
    rows = ride_rows(size[0], frame_rows(*size, age=False).view, cue=cue)
    assert (rows.figure, rows.cue) == (figure, cue_rows)
    assert rows.table * rows.table_columns >= (2 if cue and size[0] == 40 else 6)


def test_small_figures_give_way_to_a_cue_of_three_rows() -> None:
    rows = ride_rows(40, 11, cue=True)
    assert (rows.figure, rows.cue, rows.table) == (4, 3, 0)
