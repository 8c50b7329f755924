"""The band of a cue: room around its letters, and what it says at any size."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.dashboard.drawing.cue_band import SIGNS, band_lines, band_sizes

PARTS = ("31 % too fast: hold 8.0 km/h", "5.20 km to go")
WORDS = list(SIGNS)


@given(word=st.sampled_from(WORDS), width=st.integers(12, 250), height=st.integers(1, 60))
def test_a_band_has_its_size_and_says_what_to_do(word: str, width: int, height: int) -> None:
    lines = band_lines(word, PARTS, width, height)
    assert [len(line) for line in lines] == [width] * height
    text = " ".join(" ".join(lines).translate({ord(c): " " for c in "█▀▄"}).split())
    if width >= 40 and height >= 3:
        for piece in ("31 % too fast: hold", "8.0", "km/h"):
            assert piece in text
    low = not band_sizes(width) or height < band_sizes(width)[0]
    if low and width >= 20:
        assert word.upper() in text.replace(" ", "")


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize("size", [(40, 6), (40, 9), (60, 13), (76, 16), (120, 20)])
def test_there_is_room_around_the_letters(word: str, size: tuple[int, int]) -> None:
    # Letters in the page's colour once touched the edges of the band, which looked torn open.
    width, height = size
    lines = band_lines(word, PARTS, width, height)
    assert lines[0].strip() == ""
    above_text = lines[-2]
    assert "█" not in above_text
    assert "▄" not in above_text
    for line in lines:
        assert (line[0], line[-1]) == (" ", " ")


@pytest.mark.parametrize("size", [(40, 3), (40, 6), (80, 12)])
def test_the_words_differ_by_shape_and_place(size: tuple[int, int]) -> None:
    drawn = {word: band_lines(word, ("",), *size) for word in WORDS}
    assert len({tuple(lines) for lines in drawn.values()}) == len(WORDS)

    def middle(word: str) -> float:
        """Return the centre of the ink across the width, from 0 to 1."""
        places = [x for line in drawn[word] for x, cell in enumerate(line) if cell != " "]
        return sum(places) / len(places) / size[0]

    assert middle("turn") == pytest.approx(0.5, abs=0.05)
    assert middle("hold") == pytest.approx(0.5, abs=0.05)
    if size != (40, 6):  # there the word fills the width, and only the shape differs
        assert middle("ease") < 0.45
        assert middle("push") > 0.55


def test_a_low_band_wraps_its_sentence_beside_the_shape() -> None:
    assert band_lines("ease", ("12 % too much power: hold 1200 W", "rest"), 40, 4) == [
        " ▀▀▀▀▀▀▀  E A S E                       ",
        "  ▀▀▀▀▀   12 % too much power:          ",
        "    ▀     hold 1200 W                   ",
        "          rest                          ",
    ]
