"""The aim view: set a target with thumbs alone."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult

from groundside.connection.commands import setting
from groundside.dashboard.aiming import DISTANCE, KINDS, Aiming
from groundside.dashboard.faces.aim import aim_face
from groundside.dashboard.scene import Scene
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.hero import Hero
from groundside.dashboard.widgets.text_page import TextPage

HERO_ROWS = (9, 7, 5, 4)
TEXT_ROWS = 6


class AimView(View):
    """Chooses a kind and a value, and says it to the daemon."""

    NAME: ClassVar[str] = "aim"

    def __init__(self) -> None:
        super().__init__(id=self.NAME)
        self._aiming = Aiming()
        self._scene: Scene | None = None
        self._value = Hero(id="aim-value")
        self._page = TextPage(id="aim-text", one_page=True)

    def compose(self) -> ComposeResult:
        """Make the parts from top to bottom."""
        yield self._value
        yield self._page

    def on_resize(self, _event: events.Resize) -> None:
        """Return the figure as many rows as the text can spare."""
        room = self.size.height - TEXT_ROWS
        self._value.styles.height = next((rows for rows in HERO_ROWS if rows <= room), 1)

    def on_hide(self, _event: events.Hide) -> None:
        """Forget what was chosen and not set: coming back later it would surprise."""
        self._aiming.drop()

    def show(self, scene: Scene) -> None:
        """Show what is so now."""
        self._scene = scene
        if scene.can_talk and scene.started:
            self._aiming.propose(scene.snapshot, scene.units)
        face = aim_face(scene, self._aiming)
        self._value.shown = face.value
        self._page.shown = face.blocks

    def buttons(self) -> tuple[Button, ...]:
        """Return the kinds, the steps, and what is done with the value."""
        kinds = tuple(
            Button(
                kind.name,
                f"{HERE}{kind.name}",
                kind.name[0],
                kind is self._aiming.kind,
                short=kind.name[:5] if kind is not DISTANCE else "dist",
            )
            for kind in KINDS
        )
        if self._scene is None or not self._scene.can_talk:
            return kinds
        kind = self._aiming.kind
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
                self._aiming.kind = kind
        scene = self._scene
        if scene is None:
            return
        if scene.can_talk:
            self._change(word, scene)
        self.show(scene)

    def _change(self, word: str, scene: Scene) -> None:
        aiming, kind = self._aiming, self._aiming.kind
        steps = {
            "less": -kind.large,
            "bit-less": -kind.small,
            "bit-more": kind.small,
            "more": kind.large,
        }
        if word in steps:
            aiming.step(steps[word], scene.units)
        elif word == "now":
            aiming.as_now(scene.snapshot, scene.units)
        elif word == "set" and aiming.value is not None:
            text = f"{kind.text(aiming.value, scene.units)} {kind.unit(scene.units)}"
            value = round(aiming.value, 3)
            self.post_message(self.Say(setting(kind.key, value), f"target: {kind.name} {text}"))
        elif word == "clear":
            self.post_message(self.Say(setting(kind.key, None), "no target any more"))
