"""The parts of the dashboard that need no terminal: type, rows, texts, colours."""

import dataclasses
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.color import Color, ColorSystem
from textual.theme import Theme

from groundside.dashboard.drawing.block_font import GLYPHS, SIZES, TypeSize, draw, fitting
from groundside.dashboard.drawing.painted import joined, shortened, wrapped
from groundside.dashboard.layout import VIEW_ROWS_LEAST, frame_rows, ride_rows
from groundside.dashboard.themes import MONO, NIGHT, SUN


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("text", ["88.8", "-0.4", "EASE", "HOLD", "PUSH", "TURN", "--"])
def test_drawn_text_has_its_stated_size(size: TypeSize, text: str) -> None:
    drawn = draw(text, size)
    assert len(drawn) == size.rows
    assert {len(line) for line in drawn} == {size.width(text)}


@pytest.mark.parametrize("hatched", [False, True])
@pytest.mark.parametrize("size", SIZES)
def test_no_two_digits_look_alike(size: TypeSize, hatched: bool) -> None:
    drawn = [draw(digit, size, hatched=hatched) for digit in "0123456789-"]
    cells = ["".join(lines) for lines in drawn]
    for place, one in enumerate(cells):
        for other in cells[place + 1 :]:
            differing = sum(a != b for a, b in zip(one, other, strict=True))
            # 0 and 8 differ only by the bar in the middle
            assert differing >= 2 * size.columns[2]


def test_hatched_text_has_no_solid_block() -> None:
    cells = set("".join(draw("58.3", SIZES[2], hatched=True)))
    assert cells == {" ", "▒"}


def test_a_drawn_one_by_hand() -> None:
    # 5 rows: heights of the pixel rows in half cells 2 1 1 1 1 1 2, the last half cell is clear
    assert draw("1", SIZES[1]) == ("  ██  ", " ▀██  ", "  ██  ", "▄▄██▄▄", "▀▀▀▀▀▀")


def test_glyphs_are_six_by_seven() -> None:
    for char, rows in GLYPHS.items():
        assert len(rows) == 7
        assert {len(row) for row in rows} == ({2} if char == "." else {6})


def test_no_text_fits_into_no_room() -> None:
    assert fitting("8", 5, 9) is None
    assert fitting("8", 6, 3) is None
    assert fitting("8", 6, 4) is SIZES[0]


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


@pytest.mark.parametrize("touch", [False, True])
@pytest.mark.parametrize("size", [(40, 22), (44, 46), (80, 19), (120, 40)])
def test_buttons_on_a_phone_are_three_rows_high(size: tuple[int, int], touch: bool) -> None:
    frame = frame_rows(*size, touch=touch)
    # A tall phone has its tabs in two rows, a low terminal gives its rows to the view.
    wanted = {(44, 46): 6, (80, 19): 2 if touch else 1}
    assert frame.tabs == wanted.get(size, 3)


@pytest.mark.parametrize(
    ("size", "cue", "figure", "cue_rows"),
    [((40, 22), False, 7, 0), ((40, 22), True, 5, 6), ((80, 24), True, 10, 6)],
)
def test_big_figures_are_big(size: tuple[int, int], cue: bool, figure: int, cue_rows: int) -> None:
    rows = ride_rows(size[0], frame_rows(*size).view, cue=cue)
    assert (rows.figure, rows.cue) == (figure, cue_rows)
    assert rows.table * rows.table_columns >= (2 if cue and size[0] == 40 else 6)


def _contrast(ink: str, paper: str) -> float:
    """Return WCAG 2.1's contrast ratio (see also 'relative luminance'; from memory)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        red, green, blue = (
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    lighter, darker = sorted((luminance(ink), luminance(paper)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _in_256(colour: str) -> str:
    """Return the colour that a 256-colour terminal shows instead."""
    return Color.parse(colour).downgrade(ColorSystem.EIGHT_BIT).get_truecolor().hex


@pytest.mark.parametrize("shown", [str, _in_256], ids=["true colour", "256 colours"])
@pytest.mark.parametrize("theme", [SUN, NIGHT, MONO], ids=lambda theme: theme.name)
def test_colours_stand_out_from_the_paper(theme: Theme, shown: Callable[[str], str]) -> None:
    assert theme.background is not None
    assert theme.foreground is not None
    paper = shown(theme.background)
    colours = {name: shown(colour) for name, colour in theme.variables.items()}
    assert _contrast(shown(theme.foreground), paper) >= 7.0
    # WCAG 2.1, 1.4.6 requires 7 for text, and 1.4.3 at least 4.5 (from memory)
    for name, least in (("figure", 7.0), ("quiet", 7.0), ("key", 7.0), ("stale", 4.5)):
        assert _contrast(colours[name], paper) >= least, name
    for button in ("button-even", "button-odd"):
        assert _contrast(shown(theme.foreground), colours[button]) >= 7.0, button
    for pair in ("danger", "warning", "cue"):
        assert _contrast(colours[f"{pair}-ink"], colours[f"{pair}-paper"]) >= 7.0, pair


@pytest.mark.parametrize("theme", [SUN, NIGHT, MONO], ids=lambda theme: theme.name)
def test_colours_hardly_change_in_256(theme: Theme) -> None:
    for colour in (*theme.variables.values(), theme.background, theme.foreground):
        assert colour is not None
        true, shown = Color.parse(colour).get_truecolor(), Color.parse(_in_256(colour)).triplet
        assert shown is not None
        # ten is one step of grey, the toolkit's possible rounding error
        assert max(abs(a - b) for a, b in zip(true, shown, strict=True)) <= 10, colour


def test_black_on_white_is_21() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_texts_are_fitted() -> None:
    assert shortened("battery", 5) == "bat.."
    assert wrapped("keep a reserve", 8) == ["keep a", "reserve"]
    assert joined(("data", "31 msg/s", "far too long for it", "x"), 16) == "data  31 msg/s"


def test_plain_units_and_client_need_no_screen_code() -> None:
    code = (
        "import sys, groundside.dashboard.plain, groundside.words.units,"
        " groundside.connection.feed_client, groundside.terminal,"
        " groundside.connection.source\n"
        "sys.exit('textual' in sys.modules or 'rich' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
