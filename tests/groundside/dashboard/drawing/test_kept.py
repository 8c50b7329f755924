"""Containers behind the widgets keep their lines until the theme or the size changes."""

import pytest
from textual.widget import Widget

from groundside.connection.source import Update
from groundside.dashboard.drawing.kept import Kept
from groundside.dashboard.themes import THEMES
from tests.groundside.dashboard.steered_app import SteeredApp, run_app, snapshot, strips_of


def visible(here: SteeredApp) -> list[Kept]:
    screen = here.app.screen
    found: list[Widget] = [screen, *screen.query(Widget)]
    return [each for each in found if isinstance(each, Kept) and each.size.area and each.display]


def test_lines_of_containers_stay_when_a_figure_changes() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        await here.show()
        asked = {each: each.render_lines(each.size.region) for each in visible(here)}
        assert len(asked) >= 4
        await here.give(Update(snapshot(volts_v=47.3)))
        await here.show()
        for each, lines in asked.items():
            assert each.render_lines(each.size.region) is lines

    run_app((80, 24), act)


def test_lines_of_containers_follow_theme_and_size() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        await here.show()
        steps = [(theme, (80, 24)) for theme in (*THEMES, THEMES[0])] + [(THEMES[0], (120, 40))]
        for theme, size in steps:
            here.app.theme = theme.name
            await here.pilot.resize_terminal(*size)
            await here.show()
            for each in visible(here):
                region = each.size.region
                kept = [list(strip) for strip in each.render_lines(region)]
                each._kept_for = None
                assert kept == [list(strip) for strip in each.render_lines(region)]
                assert len(kept) == region.height

    run_app((80, 24), act)


@pytest.mark.parametrize("size", [(80, 24), (40, 22)])
def test_without_colour_every_style_is_grey(
    monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")

    async def act(here: SteeredApp) -> None:
        await here.give(Update(snapshot()))
        here.app.theme = THEMES[0].name  # its warnings are in colour
        await here.show()
        colours = {
            colour.triplet
            for strip in strips_of(here.app)
            for segment in strip
            if segment.style is not None
            for colour in (segment.style.color, segment.style.bgcolor)
            if colour is not None and colour.triplet is not None
        }
        assert colours
        assert all(each.red == each.green == each.blue for each in colours)

    run_app(size, act)
