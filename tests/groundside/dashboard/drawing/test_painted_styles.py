"""A painted widget: lines are repainted with styles worked out once, until those change."""

import asyncio
from typing import ClassVar

from rich.style import Style
from textual.app import App, ComposeResult
from textual.geometry import Size
from textual.theme import Theme

from groundside.dashboard.drawing.painted import Line, Painted

DAY = Theme("day", primary="#000000", foreground="#101010", background="#fefefe", dark=False)
DARK = Theme("dark", primary="#ffffff", foreground="#00ff00", background="#000000", dark=True)


class Words(Painted):
    """A widget whose lines have a piece of its own style and one of a named style."""

    COMPONENT_CLASSES: ClassVar = {"loud"}
    DEFAULT_CSS = """
    Words { height: 2; background: $background; color: $foreground; }
    Words.grey { background: #202020; }
    Words .loud { color: $background; background: $foreground; }
    """
    worked_out = 0

    @property
    def rich_style(self) -> Style:
        """Count how often the toolkit works out the style."""
        self.worked_out += 1
        return super().rich_style

    def paint(self, size: Size) -> list[Line]:
        return [[(str(self.content), ""), ("!", "loud")]] * size.height


class OneWidget(App[None]):
    """An app of nothing else."""

    def compose(self) -> ComposeResult:
        yield Words()

    def on_mount(self) -> None:
        for theme in (DAY, DARK):
            self.register_theme(theme)
        self.theme = "day"


def colours(widget: Words) -> list[str]:
    """Return foreground and background of both pieces as painted."""
    own, loud = list(widget.render_line(0))[:2]
    return [part.name for piece in (own, loud) for part in (piece.style.color, piece.style.bgcolor)]


def test_styles_are_worked_out_once_and_follow_theme_and_class() -> None:
    async def script() -> None:
        async with OneWidget().run_test(size=(20, 4)) as pilot:
            widget = pilot.app.query_one(Words)
            widget.content = 0
            await pilot.pause()
            before = widget.worked_out
            for n in range(1, 30):
                widget.content = n
                await pilot.pause()
            assert widget.worked_out == before
            assert colours(widget) == ["#101010", "#fefefe", "#fefefe", "#101010"]
            pilot.app.theme = "dark"
            await pilot.pause()
            assert colours(widget) == ["#00ff00", "#000000", "#000000", "#00ff00"]
            widget.add_class("grey")
            await pilot.pause()
            assert colours(widget)[1] == "#202020"

    asyncio.run(script())
