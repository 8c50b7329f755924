"""The runs view, to compare set-ups on the water: runs, set-up names and marks."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.widgets import Input

from groundside.connection.commands import mark, setting
from groundside.dashboard.content.runs import asks_for_charge, open_run, runs_content
from groundside.dashboard.content.setups import (
    known_setups,
    next_letter,
    setup_in_force,
    valid_label,
)
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.base import OWN, View
from groundside.dashboard.views.confirmation import AGAIN_S
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.runs_page import RunsPage, RunsPageContent
from groundside.dashboard.widgets.typed_line import TypedLine
from groundside.words.charge import EXAMPLES, bare_number, charge_text, parse_charge
from onboard.contract.codec import clean
from onboard.contract.commands import LABEL_MOST, TEXT_MOST, Amount
from onboard.contract.snapshot import Snapshot

TYPE = "other"
"""The last choice of a set-up: a name to be typed."""
CHARGE_UNITS = {"in-wh": "Wh", "in-ah": "Ah", "in-percent": "%"}
"""Actions that send the number typed, in a unit."""
QUESTIONS = {
    "full": "If the charger stopped by itself, press again within {} s. Else say how much.",
    "trip": "A new trip ends this one and counts from nought: press again within {} s.",
}


class RunsView(View):
    """Shows the runs, and takes the rider's marks on the water."""

    NAME: ClassVar[str] = "runs"
    PURPOSE: ClassVar[str] = "runs and set-ups"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (
        ViewKey("r", "start or end a run"),
        ViewKey("s", "choose a set-up; or type", ("setup",)),
        ViewKey("down", "the next one", ("next",)),
        ViewKey("up", "the one before", ("before",)),
        ViewKey("n", "a note", ("note",)),
        ViewKey("m", "charged: type how much", ("much",)),
        ViewKey("f", "charged; twice: full", ("full",)),
        ViewKey("x", "not charged", ("none",)),
        ViewKey("w", "new trip, twice", ("trip",)),
        ViewKey("enter", "take or send it", ("take", "send")),
        ViewKey("escape", "back", ("leave",)),
    )

    def __init__(self, clock: Callable[[], float]) -> None:
        self._page = RunsPage()
        self._line = TypedLine()
        super().__init__(clock, self._page, self._line)
        self._choices: tuple[tuple[str, str], ...] = ()
        self._chosen = 0
        self._typing = ""
        self._unreadable = False

    def on_hide(self, _event: events.Hide) -> None:
        """Cancel what was begun, which would surprise on coming back later."""
        self._leave()

    def show(self, state: ViewState) -> None:
        """Show the runs."""
        self._state = state
        if not state.can_command:
            self._leave()
        self._paint()

    def _paint(self) -> None:
        if self._state is not None:
            self._page.content = RunsPageContent(
                runs_content(self._state), self._ask(), self._choices, self._chosen
            )

    def _ask(self) -> str:
        if self._typing == "note":
            return "A note of this moment: type it, then enter. Escape leaves."
        if self._typing == "charge":
            if self._unreadable and bare_number(self._line.value):
                return "A number of what? Add Wh, Ah or %, or tap it. Escape leaves."
            ask = "How much went in, or how full is it now, reserve included?"
            if self._unreadable:
                ask = "Not understood."
            return f"{ask} Type it, {EXAMPLES}, then enter. Escape leaves."
        if self._typing == "setup":
            return f"Name of the set-up, up to {LABEL_MOST} letters, then enter. Escape leaves."
        if self._choices:
            return "What is on the craft now? Choose it, or type its name."
        return QUESTIONS.get(self._confirmation.pending, "").format(f"{AGAIN_S:g}")

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons of the present step; none without a daemon to command."""
        if self._state is None or not self._state.can_command:
            return ()
        back = self.own_button("back", "leave")
        if self._typing == "charge":
            # Without keys: a letter is text here.
            units = (Button(text, OWN + word) for word, text in CHARGE_UNITS.items())
            ends = (
                Button("full", f"{OWN}is-full"),
                Button("not charged", f"{OWN}none", short="none"),
            )
            return (*units, *ends, back)
        if self._typing:
            return (self.own_button("send", "send"), back)
        if self._choices:
            return (self.own_button("next", "next"), self.own_button("take it", "take"), back)
        no_charge = self.own_button("not charged", "none", short="none")
        asked = self._confirmation.pending
        if asked == "full":
            much = self.own_button("so much", "much", short="much")
            return (self.own_button("full", "full"), much, no_charge, back)
        is_open = open_run(self._state.snapshot) is not None
        new_trip = ("sure?", "sure?") if asked == "trip" else ("new trip", "trip")
        return (
            Button("end run" if is_open else "start run", "run", "r", short="run"),
            self.own_button("set-up", "setup"),
            self.own_button("note", "note"),
            self.own_button("charged", "much", short="charg"),
            self.own_button(new_trip[0], "trip", on=asked == "trip", short=new_trip[1]),
            *((no_charge,) if asks_for_charge(self._state.snapshot) else ()),
        )

    def hidden_buttons(self) -> tuple[Button, ...]:
        """Return the buttons for which there is no room, or that have only a key."""
        if self._state is None or not self._state.can_command or self._typing:
            return ()
        if self._choices:
            return (self.own_button("before", "before"),)
        return (self.own_button("full", "full"), self.own_button("so much", "much"))

    def takes_text(self, text: str) -> bool:
        """Take letters as text in an open field; while a set-up is chosen, they begin its name."""
        if self._typing:
            self._line.add(text)
        elif self._choices:
            self._choices = ()
            self._type("setup", text)
            self._paint()
        return bool(self._typing)

    def pressed(self, word: str) -> None:
        """Carry out the action of a button or key."""
        if self._state is None or not self._state.can_command:
            return
        if word not in QUESTIONS:
            self._confirmation.cancel()
        match word:
            case "setup":
                self._begin_choosing(self._state.snapshot)
            case "next" | "before" if self._choices:
                step = 1 if word == "next" else -1
                self._chosen = (self._chosen + step) % len(self._choices)
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
                self._leave()
                self._send_charge(("charged_wh", 0.0))
            case "is-full":
                self._leave()
                self._send_charge(("left_fraction", 1.0))
            case "in-wh" | "in-ah" | "in-percent" if bare_number(self._line.value):
                self._line.value = f"{self._line.value.strip()} {CHARGE_UNITS[word]}"
                self._send()
            case "full" if self._confirmation.confirmed("full"):
                self.post_message(self.Send(mark("charged_full"), "charged full: the pack is full"))
            case "trip" if self._confirmation.confirmed("trip"):
                self.post_message(self.Send(mark("new_trip"), "a new trip has begun"))
        self._paint()

    def _begin_choosing(self, snapshot: Snapshot) -> None:
        """Offer the known set-ups, beginning with the one after that in force."""
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
            self._send_setup(label)

    def _send_setup(self, label: str) -> None:
        self.post_message(self.Send(setting("setup", label), f"set-up is now {label}"))

    def _send_charge(self, amount: Amount) -> None:
        command = mark("charged", amount=amount)
        self.post_message(self.Send(command, f"charged: {charge_text(amount)}"))

    def _type(self, what: str, text: str = "") -> None:
        self._typing, self._unreadable = what, False
        self._line.open(LABEL_MOST if what == "setup" else TEXT_MOST, text)

    def _send(self) -> None:
        """Send what was typed, unless it is empty."""
        what, typed = self._typing, self._line.value
        amount = parse_charge(typed) if what == "charge" else None
        if what == "charge" and amount is None and clean(typed):
            # The line stays open for correction.
            self._unreadable = True
            self._paint()
            return
        self._leave()
        if what == "setup" and valid_label(typed):
            self._send_setup(valid_label(typed))
        elif what == "note" and clean(typed):
            self.post_message(self.Send(mark("note", clean(typed)), "note kept"))
        elif amount is not None:
            self._send_charge(amount)
        self._paint()

    def _leave(self) -> None:
        """Cancel typing, choosing and an open question."""
        self._confirmation.cancel()
        self._choices = ()
        if self._typing:
            self._typing = ""
            self._line.close()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Send on enter."""
        event.stop()
        self._send()

    def on_typed_line_left(self, event: TypedLine.Left) -> None:
        """Cancel on escape."""
        event.stop()
        self._leave()
        self._paint()
