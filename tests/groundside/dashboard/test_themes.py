"""The colours of the themes."""

from collections.abc import Callable

import pytest
from rich.color import Color, ColorSystem
from textual.theme import Theme

from groundside.dashboard.themes import MONO, NIGHT, SUN


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
