"""A page of text uses the columns it has."""

import pytest
from textual.geometry import Size

from groundside.dashboard.content.craft import craft_blocks
from groundside.dashboard.widgets.text_page import TextPage, balanced
from tests.groundside.dashboard.steered_app import snapshot, state


def painted(size: tuple[int, int]) -> tuple[list[str], int]:
    page = TextPage()
    page.set_reactive(TextPage.content, craft_blocks(state(snapshot())))
    lines = page.paint(Size(*size))
    return ["".join(text for text, _ in line).rstrip() for line in lines], page.pages


@pytest.mark.parametrize("size", [(120, 32), (197, 50), (110, 24)])
def test_the_craft_stood_in_the_left_half_of_a_wide_screen(size: tuple[int, int]) -> None:
    rows, pages = painted(size)
    assert pages == 1
    assert len(rows) <= size[1]
    last = (size[0] // 52 - 1) * (size[0] // (size[0] // 52))
    assert sum(len(row) > last + 4 for row in rows) >= 3  # the last column has its share
    assert any(not row for row in rows)  # items stand apart


@pytest.mark.parametrize("size", [(120, 32), (120, 9), (80, 17), (40, 14), (197, 50), (60, 12)])
def test_nothing_is_lost_at_any_size(size: tuple[int, int]) -> None:
    page = TextPage()
    blocks = craft_blocks(state(snapshot()))
    page.set_reactive(TextPage.content, blocks)
    text = ""
    page.paint(Size(*size))
    for number in range(page.pages):
        page._page = number
        lines = page.paint(Size(*size))
        assert len(lines) <= size[1]
        text += " ".join("".join(piece for piece, _ in line) for line in lines) + " "
    for block in blocks:
        for item in block:
            assert all(word in text for word in item.text.split())


def test_items_that_do_not_fit_are_not_balanced() -> None:
    item = [[("a", "")]] * 3
    assert balanced([[item, item]], 2, 2) is None
    assert balanced([[item, item]], 2, 3) is not None
