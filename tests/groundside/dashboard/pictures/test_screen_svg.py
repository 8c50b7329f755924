"""A screen as SVG: text, blocks, braille, colours."""

from xml.etree import ElementTree

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from groundside.dashboard.pictures.screen_svg import HIGH, WIDE, screen_svg

SVG = "{http://www.w3.org/2000/svg}"


def drawn(text: str, **style: object) -> ElementTree.Element:
    """Return the picture of one row."""
    style = {"color": "#112233", "bgcolor": "#ffffff", **style}
    strip = Strip([Segment(text, Style(**style))])  # type: ignore[arg-type]
    return ElementTree.fromstring(screen_svg([strip], "#ffffff", "a <row> & more"))


def test_text_stands_in_its_cells() -> None:
    tree = drawn("  8.0 km/h   a<b  ", bold=True)
    first, second = tree.iter(f"{SVG}text")
    assert (first.text, first.get("x"), first.get("textLength")) == ("8.0 km/h", "20", "80")
    assert (second.text, second.get("x")) == ("a<b", str(13 * WIDE))
    assert first.get("fill") == "#112233"
    assert first.get("font-weight") == "bold"
    assert tree.get("viewBox") == f"0 0 {18 * WIDE} {HIGH}"
    title = tree.find(f"{SVG}title")
    assert title is not None
    assert title.text == "a <row> & more"


def test_blocks_are_shapes_that_join() -> None:
    # An upper half block over x 10 to 20, a full one beside it.
    (path,) = drawn(" ▀█").iter(f"{SVG}path")
    assert path.get("d") == "M10 0h10v10h-10zM20 0h10v20h-10z"
    assert not list(drawn(" ▀█").iter(f"{SVG}text"))


def test_braille_is_its_dots() -> None:
    # U+2841 has dots 1 and 7: upper left and lower left (Unicode Standard, block U+2800).
    (path,) = drawn("\u2841").iter(f"{SVG}path")
    assert path.get("d") == "M1 1h3v3h-3zM1 16h3v3h-3z"


def test_reversed_cells_have_their_own_paper() -> None:
    tree = drawn("AB", reverse=True)
    papers = [(each.get("fill"), each.get("width")) for each in tree.iter(f"{SVG}rect")]
    assert papers[1:] == [("#112233", "20")]
    (text,) = tree.iter(f"{SVG}text")
    assert text.get("fill") == "#ffffff"
