"""What a widget paints again when something changes, counted in the running app."""

from dataclasses import replace

import pytest
from textual.geometry import Region

from groundside.connection.source import Update
from groundside.dashboard.drawing.painted import Painted
from groundside.dashboard.themes import THEMES
from groundside.dashboard.widgets.figure_table import FigureTable
from tests.groundside.dashboard.steered_app import SteeredApp, run_app, snapshot, strips_of


def repainted(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str | None, tuple[Region, ...]]]:
    """Return a growing list of the widgets that are painted again, with their regions."""
    found: list[tuple[str | None, tuple[Region, ...]]] = []
    original = Painted.refresh

    def refresh(self: Painted, *regions: Region, **options: bool) -> Painted:
        found.append((self.id, regions))
        return original(self, *regions, **options)

    monkeypatch.setattr(Painted, "refresh", refresh)
    return found


def test_only_what_changed_is_painted(monkeypatch: pytest.MonkeyPatch) -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        await here.show()
        found = repainted(monkeypatch)
        await here.give(Update(replace(snapshot())))
        await here.show()
        assert found == []
        await here.give(Update(snapshot(volts_v=47.3)))
        await here.show()
        assert {name for name, _ in found} == {"figures"}
        assert [len(regions) for _, regions in found] == [1]
        assert "47.3 V" in here.text

    run_app((80, 24), act)


def test_lines_that_stay_are_not_made_again() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        await here.show()
        table = here.app.screen.query_one("#figures", FigureTable)
        before = [table.render_line(y) for y in range(table.size.height)]
        await here.give(Update(snapshot(volts_v=47.3)))
        await here.show()
        after = [table.render_line(y) for y in range(table.size.height)]
        assert sum(a is not b for a, b in zip(after, before, strict=True)) == 1

    run_app((80, 24), act)


def test_kept_lines_follow_theme() -> None:
    async def act(here: SteeredApp) -> None:
        await here.pilot.press("enter")
        await here.give(Update(snapshot()))
        await here.show()
        for theme in (*THEMES, THEMES[0]):
            here.app.theme = theme.name
            await here.show()
            kept = [list(strip) for strip in strips_of(here.app)]
            for widget in here.app.screen.query(Painted):
                widget._strips.clear()
                widget._styles_by_name.clear()
                widget.notify_style_update()
                widget.lay_out()
            await here.show()
            assert kept == [list(strip) for strip in strips_of(here.app)]

    run_app((80, 24), act)
