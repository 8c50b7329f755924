"""The aim view: set a target by thumb alone."""

from collections.abc import Callable
from typing import ClassVar

from textual import events

from groundside.connection.commands import setting
from groundside.dashboard.content.aim import aim_content
from groundside.dashboard.drawing.block_font import fitting
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.target_choice import DISTANCE, KINDS, TargetChoice
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import View
from groundside.dashboard.widgets.big_figure import BigFigure
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.text_page import TextPage

BIG_FIGURE_ROWS = (9, 7, 5, 4)
TEXT_ROWS = 6
TEMPLATE, LABEL_COLUMNS, MOST_ROWS = "888.8", 24, 24
"""Digits of the figure if there is room, the columns beside it, and its most rows."""


class AimView(View):
    """Chooses a kind of target and its value, and sends it to the daemon."""

    NAME: ClassVar[str] = "aim"
    PURPOSE: ClassVar[str] = "set a target"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (
        *(ViewKey(kind.name[0], kind.name, (kind.name,)) for kind in KINDS),
        ViewKey("n", "as now, or home", ("now",)),
        ViewKey("-", "less", ("bit-less",)),
        ViewKey("+", "more", ("bit-more",)),
        ViewKey(",", "much less", ("less",)),
        ViewKey(".", "much more", ("more",)),
        ViewKey("enter", "set it", ("set",)),
        ViewKey("c", "clear it", ("clear",)),
    )

    def __init__(self, clock: Callable[[], float]) -> None:
        self._value = BigFigure(id="aim-value")
        self._page = TextPage(id="aim-text", one_page=True)
        super().__init__(clock, self._value, self._page)
        self._choice = TargetChoice()

    def on_resize(self, _event: events.Resize) -> None:
        """Give the figure the rows that the text can spare."""
        room = self.size.height - TEXT_ROWS
        rows = next((rows for rows in BIG_FIGURE_ROWS if rows <= room), 1)
        letters = fitting(TEMPLATE, self.size.width - LABEL_COLUMNS, min(room, MOST_ROWS))
        self._value.styles.height = max(rows, letters.rows if letters is not None else 1)

    def on_hide(self, _event: events.Hide) -> None:
        """Discard an unsent choice, which would surprise on coming back later."""
        self._choice.clear()

    def show(self, state: ViewState) -> None:
        """Show the target in force and the one being chosen."""
        self._state = state
        if state.can_command and state.started:
            self._choice.propose(state.snapshot, state.units)
        content = aim_content(state, self._choice)
        self._value.content = content.value
        self._page.content = content.blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return the kinds, the steps and the actions on the value."""
        kind = self._choice.kind
        kinds = tuple(
            self.own_button(
                each.name,
                each.name,
                on=each is kind,
                short=each.name[:5] if each is not DISTANCE else "dist",
            )
            for each in KINDS
        )
        if self._state is None or not self._state.can_command:
            return kinds
        return (
            *kinds,
            self.own_button("home" if kind is DISTANCE else "as now", "now"),
            self.own_button("clear", "clear"),
            self.own_button(f"-{kind.large:g}", "less"),
            self.own_button(f"-{kind.small:g}", "bit-less"),
            self.own_button(f"+{kind.small:g}", "bit-more"),
            self.own_button(f"+{kind.large:g}", "more"),
            self.own_button("set", "set"),
        )

    def pressed(self, word: str) -> None:
        """Choose a kind, change the value, or send it."""
        for kind in KINDS:
            if word == kind.name:
                self._choice.kind = kind
        state = self._state
        if state is None:
            return
        if state.can_command:
            self._change(word, state)
        self.show(state)

    def _change(self, word: str, state: ViewState) -> None:
        choice, kind = self._choice, self._choice.kind
        steps = {
            "less": -kind.large,
            "bit-less": -kind.small,
            "bit-more": kind.small,
            "more": kind.large,
        }
        if word in steps:
            choice.step(steps[word], state.units)
        elif word == "now":
            choice.as_now(state.snapshot, state.units)
        elif word == "set" and choice.value is not None:
            text = f"{kind.text(choice.value, state.units)} {kind.unit(state.units)}"
            value = round(choice.value, 3)
            self.post_message(self.Send(setting(kind.key, value), f"target: {kind.name} {text}"))
        elif word == "clear":
            self.post_message(self.Send(setting(kind.key, None), "no target any more"))
