"""The parts of the dashboard that need no terminal: type, rows, texts, colours."""

import subprocess
import sys

import pytest

from groundside.dashboard.drawing.block_font import GLYPHS, SIZES, TypeSize, draw, fitting
from groundside.dashboard.drawing.painted import joined, shortened, wrapped
from groundside.dashboard.drawing.plot_content import NOW, Axis, AxisMark, PlotContent, Point, Trace
from groundside.dashboard.drawing.plotting import plot_lines


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


@pytest.mark.parametrize("x", [-1e308, 1e308])
def test_what_lies_beyond_all_measure_is_drawn_at_the_edge(x: float) -> None:
    # Its share of a short axis is infinite, and no column has that number.
    content = PlotContent(
        x=Axis(0.0, 0.01, "km/h"),
        y=Axis(0.0, 100.0, "W"),
        trace=Trace((0.0, x), (0.0, 50.0)),
        points=(Point(NOW, x, 50.0),),
        marks=(AxisMark("B", x),),
    )
    text = "".join(piece for line in plot_lines(content, 40, 12) for piece, _ in line)
    assert f"{NOW}◄" in text if x < 0 else f"►{NOW}" in text
