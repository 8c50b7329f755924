"""The aim view: set a target with thumbs alone."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult

from groundside.connection.say import setting
from groundside.dashboard.content.aim import aim_content
from groundside.dashboard.target_choice import DISTANCE, KINDS, TargetChoice
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.widgets.big_figure import BigFigure
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.text_page import TextPage

BIG_FIGURE_ROWS = (9, 7, 5, 4)
TEXT_ROWS = 6


class AimView(View):
    """Chooses a kind and a value, and says it to the daemon."""

    NAME: ClassVar[str] = "aim"

    def __init__(self) -> None:
        super().__init__(id=self.NAME)
        self._choice = TargetChoice()
        self._state: ViewState | None = None
        self._value = BigFigure(id="aim-value")
        self._page = TextPage(id="aim-text", one_page=True)

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield self._value
        yield self._page

    def on_resize(self, _event: events.Resize) -> None:
        """Return the figure as many rows as the text can spare."""
        room = self.size.height - TEXT_ROWS
        self._value.styles.height = next((rows for rows in BIG_FIGURE_ROWS if rows <= room), 1)

    def on_hide(self, _event: events.Hide) -> None:
        """Forget what was chosen and not set: coming back later it would surprise."""
        self._choice.drop()

    def show(self, state: ViewState) -> None:
        """Show what is so now."""
        self._state = state
        if state.can_talk and state.started:
            self._choice.propose(state.snapshot, state.units)
        content = aim_content(state, self._choice)
        self._value.content = content.value
        self._page.content = content.blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return the kinds, the steps, and what is done with the value."""
        kinds = tuple(
            Button(
                kind.name,
                f"{HERE}{kind.name}",
                kind.name[0],
                kind is self._choice.kind,
                short=kind.name[:5] if kind is not DISTANCE else "dist",
            )
            for kind in KINDS
        )
        if self._state is None or not self._state.can_talk:
            return kinds
        kind = self._choice.kind
        return (
            *kinds,
            Button("home" if kind is DISTANCE else "as now", f"{HERE}now", "n"),
            Button("clear", f"{HERE}clear", "c"),
            Button(f"-{kind.large:g}", f"{HERE}less", ","),
            Button(f"-{kind.small:g}", f"{HERE}bit-less", "-"),
            Button(f"+{kind.small:g}", f"{HERE}bit-more", "+"),
            Button(f"+{kind.large:g}", f"{HERE}more", "."),
            Button("set", f"{HERE}set", "enter"),
        )

    def pressed(self, word: str) -> None:
        """Do what a button says."""
        for kind in KINDS:
            if word == kind.name:
                self._choice.kind = kind
        state = self._state
        if state is None:
            return
        if state.can_talk:
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
