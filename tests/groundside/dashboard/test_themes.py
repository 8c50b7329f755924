"""The colours of the themes, in true colour and as a 256-colour terminal shows them.

The pairs of ink and paper are read off the stylesheet, so that none can be missed.
"""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.color import Color, ColorSystem
from textual.theme import Theme

import groundside.dashboard
from groundside.dashboard.themes import MONO, NIGHT, SUN, VARIABLES

STYLESHEET = Path(groundside.dashboard.__file__).with_name("dashboard.tcss").read_text()
FIGURE_LEAST, TEXT_LEAST = 7.0, 4.5
"""WCAG 2.2, success criteria 1.4.6 Contrast (Enhanced) and 1.4.3 Contrast (Minimum)."""
SHOWN = pytest.mark.parametrize("shown", ["true colour", "256 colours"])
EACH = pytest.mark.parametrize("theme", [SUN, NIGHT, MONO], ids=lambda theme: theme.name)


def luminance(colour: str) -> float:
    """Return the relative luminance as WCAG 2.2 defines it.

    The threshold is that of the standard's present text, 0.04045; for 8-bit colours the older
    0.03928 gives the same.
    """
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(ink: str, paper: str) -> float:
    """Return the contrast ratio as WCAG 2.2 defines it."""
    lighter, darker = sorted((luminance(ink), luminance(paper)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def in_256(colour: str) -> str:
    """Return the colour that a 256-colour terminal shows in its place."""
    return Color.parse(colour).downgrade(ColorSystem.EIGHT_BIT).get_truecolor().hex


def colours_of(theme: Theme, shown: str = "true colour") -> dict[str, str]:
    """Return the theme's colours by the names that the stylesheet uses."""
    assert theme.background is not None
    assert theme.foreground is not None
    colours = theme.variables | {"background": theme.background, "foreground": theme.foreground}
    change: Callable[[str], str] = in_256 if shown == "256 colours" else str
    return {name: change(colour) for name, colour in colours.items()}


def pairs() -> dict[str, tuple[str, str]]:
    """Return ink and paper of each rule of the stylesheet; the page's own where it names none."""
    found = {}
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", re.sub(r"/\*.*?\*/", "", STYLESHEET)):
        rules = dict(re.findall(r"([\w-]+)\s*:\s*([^;]+?)\s*;", body))
        if "color" in rules or "background" in rules:
            ink, paper = rules.get("color", "$foreground"), rules.get("background", "$background")
            found[selector.strip()] = (ink.removeprefix("$"), paper.removeprefix("$"))
    return found


def least_of(selector: str, ink: str) -> float:
    """Return the contrast that a rule needs: that of figures and cue, or that of other text."""
    is_cue = ink == "cue-ink" or (selector.startswith("CueBar") and "none" not in selector)
    return FIGURE_LEAST if ink == "figure" or is_cue else TEXT_LEAST


def test_black_on_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    # the lightest grey that W3C's Understanding 1.4.3 names as passing 4.5:1 (from memory)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_every_pair_of_the_stylesheet_is_found() -> None:
    assert pairs()["CueBar > .cue--turn"] == ("danger-ink", "danger-paper")
    assert pairs()["ButtonBar > .button--on"] == ("background", "foreground")
    assert pairs()["BigFigure > .figure--digits"] == ("figure", "background")
    used = {name for pair in pairs().values() for name in pair}
    assert used - {"foreground", "background"} == set(VARIABLES)
    assert len(re.findall(r"[ ;{]color:", STYLESHEET)) <= len(pairs())


@SHOWN
@EACH
def test_every_ink_stands_out_from_its_paper(theme: Theme, shown: str) -> None:
    colours = colours_of(theme, shown)
    for selector, (ink, paper) in pairs().items():
        ratio = contrast(colours[ink], colours[paper])
        assert ratio >= least_of(selector, ink), f"{selector}: {ratio:.2f}"


@SHOWN
@EACH
def test_text_by_which_a_rider_decides_stands_out_like_a_figure(theme: Theme, shown: str) -> None:
    colours = colours_of(theme, shown)
    for name in ("foreground", "figure", "quiet", "key"):
        assert contrast(colours[name], colours["background"]) >= FIGURE_LEAST, name
    for button in ("button-even", "button-odd"):
        assert contrast(colours["foreground"], colours[button]) >= FIGURE_LEAST, button
    for pair in ("danger", "warning", "cue"):
        ratio = contrast(colours[f"{pair}-ink"], colours[f"{pair}-paper"])
        assert ratio >= FIGURE_LEAST, pair


@SHOWN
def test_at_night_nothing_is_brighter_than_the_figures(shown: str) -> None:
    # The night theme once had a bright blue band and a full yellow bar.
    colours = colours_of(NIGHT, shown)
    most = luminance(colours["figure"])
    for name, colour in colours.items():
        assert luminance(colour) <= most, name
    assert luminance(colours["background"]) == 0.0
    for paper in ("warning-paper", "cue-paper", "button-even", "button-odd"):
        assert luminance(colours[paper]) < 0.03, paper
    for name, colour in colours.items():
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert red >= green >= blue, f"{name} is bluish"


def test_the_sun_is_black_on_white() -> None:
    colours = colours_of(SUN)
    assert (colours["figure"], colours["background"]) == ("#000000", "#ffffff")


@EACH
def test_a_danger_differs_from_a_warning_by_more_than_its_sign(theme: Theme) -> None:
    colours = colours_of(theme)
    if theme is not MONO:  # which has only its signs
        assert colours["danger-paper"] != colours["warning-paper"]


@EACH
def test_colours_hardly_change_in_256(theme: Theme) -> None:
    for colour in colours_of(theme).values():
        true, shown = Color.parse(colour).get_truecolor(), Color.parse(in_256(colour)).triplet
        assert shown is not None
        # ten is one step of grey, the toolkit's possible rounding error
        assert max(abs(a - b) for a, b in zip(true, shown, strict=True)) <= 10, colour
