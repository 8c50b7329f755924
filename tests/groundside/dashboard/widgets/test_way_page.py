"""The way home fills the room it has: a larger arrow and verdict on a wide page."""

from typing import get_args

import pytest
from textual.geometry import Size

from groundside.dashboard.content.home import CAUTIONS, HomeContent, Verdict, home_content
from groundside.dashboard.drawing.block_font import GLYPHS
from groundside.dashboard.drawing.painted import Line
from groundside.dashboard.layout.home_rows import home_rows
from groundside.dashboard.widgets.way_page import WayPage
from tests.groundside.dashboard.steered_app import holds_drawn, snapshot, state
from tests.made_snapshot import HOME, changed


def painted(size: tuple[int, int], content: HomeContent | None = None) -> list[str]:
    page = WayPage()
    page.set_reactive(WayPage.content, (content or home_content(state(snapshot(home=HOME))), ""))
    lines: list[Line] = page.paint(Size(*size))
    return ["".join(text for text, _ in line) for line in lines]


@pytest.mark.parametrize("size", [(120, 20), (120, 26), (197, 30), (100, 20)])
def test_the_way_was_a_few_lines_in_the_corner_of_a_wide_screen(size: tuple[int, int]) -> None:
    width, height = size
    rows = painted(size)
    assert len(rows) == height
    assert max(map(len, rows)) <= width
    assert holds_drawn(rows, "ENOUGH")
    used = [row for row in rows if row.strip()]
    assert len(used) >= 0.6 * height
    arrow = [row for row in rows if set(row[: width // 4]) & set("█▀▄")]
    assert len(arrow) >= min(16, width // 6)
    assert CAUTIONS[-1].split()[-1] in " ".join(rows)


@pytest.mark.parametrize("size", [(40, 4), (40, 9), (60, 12), (20, 5), (80, 9)])
def test_a_small_page_keeps_its_words(size: tuple[int, int]) -> None:
    rows = painted(size)
    assert len(rows) == size[1]
    assert "ENOUGH" in " ".join(rows)


def test_every_verdict_can_be_drawn_and_one_too_wide_is_written() -> None:
    for verdict in get_args(Verdict):
        assert set(verdict.upper()) <= set(GLYPHS)
    near = changed(HOME, margin_wh=changed(HOME.margin_wh, value=5.0, low=-9.0, high=19.0))
    content = home_content(state(snapshot(home=near)))
    assert content.verdict == "only just"
    assert holds_drawn(painted((200, 30), content), "ONLY JUST")
    assert "ONLY JUST" in " ".join(painted((100, 24), content))


@pytest.mark.parametrize("cue", [False, True])
@pytest.mark.parametrize("width", [80, 100, 120, 160, 200, 240])
@pytest.mark.parametrize("height", [26, 32, 40, 52, 64])
def test_a_wide_view_is_shared_out_whole(width: int, height: int, cue: bool) -> None:
    rows = home_rows(width, height, cue=cue)
    assert rows.cue + rows.big_figures + rows.way == height
    assert rows.way >= 10
    assert rows.figure >= 5
    assert bool(rows.cue) is cue
