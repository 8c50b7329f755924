"""The runs view: compare set-ups on the water. Starts and ends runs, names set-ups, sets marks."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widgets import Input

from groundside.connection.commands import mark, setting
from groundside.dashboard.faces.runs import asks_for_charge, open_run, runs_face
from groundside.dashboard.faces.setups import (
    known_setups,
    next_letter,
    sayable,
    setup_in_force,
)
from groundside.dashboard.scene import Scene
from groundside.dashboard.views.asking import AGAIN_S, Asking
from groundside.dashboard.views.base import HERE, View
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.runs_page import RunsPage, RunsPicture
from groundside.words.charge import WANTED, charge_told, charge_typed
from onboard.contract.codec import clean
from onboard.contract.commands import LABEL_MOST, TEXT_MOST, Amount
from onboard.contract.snapshot import Snapshot

TYPE = "other"
"""The last choice of a set-up: one that is typed."""
QUESTIONS = {
    "full": "If the charger stopped by itself, press again within {} s. Else say how much.",
    "trip": "A new trip ends this one and counts from nought: press again within {} s.",
}


class TypedLine(Input):
    """A line to type on; escape leaves it."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", show=False)]

    class Left(Message):
        """The rider does not want to type after all."""

    def action_leave(self) -> None:
        """Leave without sending."""
        self.post_message(self.Left())


class RunsView(View):
    """Shows the runs, and what a rider does about them.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    """

    NAME = "runs"

    def __init__(self, clock: Callable[[], float]) -> None:
        super().__init__(id=self.NAME)
        self._asking = Asking(clock)
        self._page = RunsPage()
        self._line = TypedLine(compact=True)
        self._scene: Scene | None = None
        self._choices: tuple[tuple[str, str], ...] = ()
        self._chosen = 0
        self._typing = ""
        self._not_read = False

    def compose(self) -> ComposeResult:
        """Make the page, and the line beneath it that is seen while one types."""
        yield self._page
        yield self._line

    def on_mount(self) -> None:
        """Nothing is typed at first."""
        self._line.display = False

    def on_hide(self, _event: events.Hide) -> None:
        """Leave what was begun: coming back later it would surprise."""
        self._leave()

    def show(self, scene: Scene) -> None:
        """Show what is so now."""
        self._scene = scene
        if not scene.can_talk:
            self._leave()
        self._paint()

    def _paint(self) -> None:
        if self._scene is not None:
            self._page.shown = RunsPicture(
                runs_face(self._scene), self._ask(), self._choices, self._chosen
            )

    def _ask(self) -> str:
        if self._typing == "note":
            return "A note of this moment: type it, then enter. Escape leaves."
        if self._typing == "charge":
            ask = "How much went in, or how full is it now, reserve included?"
            if self._not_read:
                ask = "Not understood."
            return f"{ask} Type it, {WANTED}, then enter. Escape leaves."
        if self._typing == "setup":
            return f"Name of the set-up, up to {LABEL_MOST} letters, then enter. Escape leaves."
        if self._choices:
            return "What is on the craft now?"
        return QUESTIONS.get(self._asking.open, "").format(f"{AGAIN_S:g}")

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons of what is being done now; none where nobody takes marks."""
        if self._scene is None or not self._scene.can_talk:
            return ()
        if self._typing:
            return (_button("send", "send", "enter"), _button("back", "leave", "escape"))
        if self._choices:
            return (
                _button("next", "setup", "s"),
                _button("take it", "take", "enter"),
                _button("back", "leave", "escape"),
            )
        is_open = open_run(self._scene.snapshot) is not None
        asked = self._asking.open
        no_charge = _button("not charged", "none", "x", short="none")
        if asked == "full":
            return (
                _button("full", "full", "f"),
                _SO_MUCH,
                no_charge,
                _button("back", "leave", "escape"),
            )
        return (
            Button("end run" if is_open else "start run", "run", "r", short="run"),
            _button("set-up", "setup", "s"),
            _button("note", "note", "n"),
            _button("charged", "full", "f", short="charg"),
            _asking("new trip", "trip", "w", asked),
            *((no_charge,) if asks_for_charge(self._scene.snapshot) else ()),
        )

    def unseen_buttons(self) -> tuple[Button, ...]:
        """Return the charge that is typed: its button is seen once it is asked how full."""
        busy = self._scene is None or not self._scene.can_talk or self._typing or self._choices
        return () if busy else (_SO_MUCH,)

    def pressed(self, word: str) -> None:
        """Do what a button or key says."""
        if self._scene is None or not self._scene.can_talk:
            return
        if word not in QUESTIONS:
            self._asking.drop()
        match word:
            case "setup":
                self._next_choice(self._scene.snapshot)
            case "take":
                self._take()
            case "note":
                self._type("note")
            case "send":
                self._send()
            case "leave":
                self._leave()
            case "much":
                self._type("charge")
            case "none":
                self._say_charge(("charged_wh", 0.0))
            case "full" if self._asking.is_yes("full"):
                self.post_message(self.Say(mark("charged_full"), "charged full: the pack is full"))
            case "trip" if self._asking.is_yes("trip"):
                self.post_message(self.Say(mark("new_trip"), "a new trip has begun"))
        self._paint()

    def _next_choice(self, snapshot: Snapshot) -> None:
        """Begin to choose a set-up with the one after that in force, or go on to the next."""
        if self._choices:
            self._chosen = (self._chosen + 1) % len(self._choices)
            return
        known, now = known_setups(snapshot), setup_in_force(snapshot)
        letter = next_letter(known)
        self._choices = (
            *((name, "in force" if name == now else "known") for name in known),
            *(((letter, "new"),) if letter else ()),
            (TYPE, "typed on a keyboard"),
        )
        self._chosen = known.index(now) + 1 if now in known else 0

    def _take(self) -> None:
        if not self._choices:
            return
        label, typed = self._choices[self._chosen][0], self._chosen == len(self._choices) - 1
        self._choices = ()
        if typed:
            self._type("setup")
        else:
            self._say_setup(label)

    def _say_setup(self, label: str) -> None:
        self.post_message(self.Say(setting("setup", label), f"set-up is now {label}"))

    def _say_charge(self, amount: Amount) -> None:
        command = mark("charged", amount=amount)
        self.post_message(self.Say(command, f"charged: {charge_told(amount)}"))

    def _type(self, what: str) -> None:
        self._typing, self._not_read = what, False
        self._line.value = ""
        self._line.max_length = LABEL_MOST if what == "setup" else TEXT_MOST
        self._line.display = True
        self._line.focus()

    def _send(self) -> None:
        """Say what was typed; an empty line says nothing."""
        what, typed = self._typing, self._line.value
        amount = charge_typed(typed) if what == "charge" else None
        if what == "charge" and amount is None and clean(typed):
            # Left as typed, to be mended.
            self._not_read = True
            self._paint()
            return
        self._leave()
        if what == "setup" and sayable(typed):
            self._say_setup(sayable(typed))
        elif what == "note" and clean(typed):
            self.post_message(self.Say(mark("note", clean(typed)), "note kept"))
        elif amount is not None:
            self._say_charge(amount)
        self._paint()

    def _leave(self) -> None:
        """End typing, choosing and asking."""
        self._asking.drop()
        self._choices = ()
        if self._typing:
            self._typing = ""
            self._line.display = False
            if self._line.has_focus:
                self.screen.set_focus(None)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Send at the enter key."""
        event.stop()
        self._send()

    def on_typed_line_left(self, event: TypedLine.Left) -> None:
        """Leave at the escape key."""
        event.stop()
        self._leave()
        self._paint()


def _button(label: str, word: str, key: str, *, short: str = "") -> Button:
    return Button(label, HERE + word, key, short=short)


def _asking(label: str, word: str, key: str, asked: str) -> Button:
    """Return a button that is pressed twice."""
    on = asked == word
    return Button("sure?" if on else label, HERE + word, key, on, short="sure?" if on else word)


_SO_MUCH = _button("so much", "much", "m", short="much")
