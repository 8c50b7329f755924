"""The runs view, to compare set-ups on the water: runs, set-up names, marks, and the coach."""

from collections.abc import Callable
from typing import ClassVar

from textual import events
from textual.widgets import Input

from groundside.connection.commands import mark, setting
from groundside.dashboard.content.coach import coach_content
from groundside.dashboard.content.runs import asks_for_charge, open_run, runs_content
from groundside.dashboard.drawing.painted import shortened
from groundside.dashboard.keys import ViewKey
from groundside.dashboard.view_state import ViewState
from groundside.dashboard.views.asking import NoteQuestion, Question
from groundside.dashboard.views.base import View
from groundside.dashboard.views.charging import ChargeQuestion
from groundside.dashboard.views.choosing import SetupQuestion, TrialQuestion
from groundside.dashboard.views.confirmation import AGAIN_S
from groundside.dashboard.widgets.button_bar import Button
from groundside.dashboard.widgets.runs_page import RunsPage, RunsPageContent
from groundside.dashboard.widgets.typed_line import TypedLine
from groundside.words.charge import charge_text
from onboard.contract.coach import Coach, StepCode
from onboard.contract.commands import Amount, Command

QUESTIONS = {
    "full": "If the charger stopped by itself, press again within {} s. Or say how much.",
    "trip": "A new trip ends this one and counts from zero: press again within {} s.",
    "end": "This ends the coach; the runs are kept. Press again within {} s.",
}
SWAP_MOST = 8
"""Letters of a name on a button: with more, the key is lost at 120 columns."""
ASKS_CHARGE = "much"
"""The action that asks how much was charged."""
ASKED: dict[str, type[Question]] = {
    "setup": SetupQuestion,
    "note": NoteQuestion,
    ASKS_CHARGE: ChargeQuestion,
    "coach": TrialQuestion,
}
"""Questions by the action that asks them."""


class RunsView(View):
    """Shows the runs, or the coach during a trial, and takes the rider's marks on the water."""

    NAME: ClassVar[str] = "runs"
    PURPOSE: ClassVar[str] = "runs, set-ups, coach"
    KEYS: ClassVar[tuple[ViewKey, ...]] = (
        ViewKey("r", "start, end a run: press twice"),
        ViewKey("s", "choose a set-up; or type", ("setup",)),
        ViewKey("c", "coach: name a trial", ("coach",)),
        ViewKey("y", "swapped, as asked", ("swapped",)),
        ViewKey("v", "the coach, or the runs", ("other",)),
        ViewKey("z", "end the coach: press twice", ("end",)),
        ViewKey("down", "the next one", ("next",)),
        ViewKey("up", "the one before", ("before",)),
        ViewKey("right", "go on: all named", ("on",)),
        ViewKey("l", "laps", ("laps",)),
        ViewKey("b", "there and back", ("there",)),
        ViewKey("-", "less", ("less",)),
        ViewKey("+", "more", ("more",)),
        ViewKey(",", "much less", ("much-less",)),
        ViewKey(".", "much more", ("much-more",)),
        ViewKey("n", "a note", ("note",)),
        ViewKey("m", "charged: how much", ("much",)),
        ViewKey("f", "charged; press twice: full", ("full",)),
        ViewKey("x", "not charged", ("none",)),
        ViewKey("w", "new trip: press twice", ("trip",)),
        ViewKey("enter", "take or send it", ("take", "send")),
        ViewKey("escape", "back", ("leave",)),
    )

    def __init__(self, clock: Callable[[], float]) -> None:
        self._page = RunsPage()
        self.line = TypedLine()
        super().__init__(clock, self._page, self.line)
        self._question: Question | None = None
        self._shows_runs = False

    @property
    def shown(self) -> ViewState:
        """The state that is shown."""
        assert self._state is not None
        return self._state

    def on_hide(self, _event: events.Hide) -> None:
        """Cancel what was begun, which would surprise on coming back later."""
        self._leave()

    def show(self, state: ViewState) -> None:
        """Show the coach or the runs."""
        self._state = state
        if not state.can_command:
            self._leave()
        self._paint()

    def _paint(self) -> None:
        if self._state is None:
            return
        asked, coach = self._question, self._coach()
        pending = QUESTIONS.get(self._confirmation.pending, "").format(f"{AGAIN_S:g}")
        self._page.content = RunsPageContent(
            runs_content(self._state),
            pending if asked is None else asked.ask,
            () if asked is None else asked.choices,
            0 if asked is None else asked.chosen,
            None if coach is None or self._shows_runs else coach_content(self._state, coach),
            ("", "") if asked is None else asked.figure,
        )

    def _coach(self) -> Coach | None:
        coach = self.shown.snapshot.coach
        return coach if isinstance(coach, Coach) else None

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons of the present step; none without a daemon to command."""
        if self._state is None or not self._state.can_command:
            return ()
        if self._question is not None:
            return self._question.buttons()
        own, snapshot, coach = self.own_button, self._state.snapshot, self._coach()
        asked = self._confirmation.pending
        no_charge = own("not charged", "none", short="none")
        if asked == "full":
            much = own("so much", "much", short="much")
            return (own("full", "full"), much, no_charge, own("back", "leave"))
        is_open = open_run(snapshot) is not None
        run = Button("end run" if is_open else "start run", "run", "r", short="run")
        charged = own("charged", "much", short="charg")
        ask_charge = (no_charge,) if asks_for_charge(snapshot) else ()
        if coach is None:
            sure = ("sure?", "sure?") if asked == "trip" else ("new trip", "trip")
            trip = own(sure[0], "trip", on=asked == "trip", short=sure[1])
            first = (own("coach", "coach"), run, own("set-up", "setup"))
            return (*first, own("note", "note"), charged, trip, *ask_charge)
        swap = coach.step.values.get("setup") if coach.step.code is StepCode.SWAP else None
        is_on = f"{shortened(str(swap), SWAP_MOST)} is on"
        end = own("sure?" if asked == "end" else "end coach", "end", on=asked == "end", short="end")
        return (
            *((own(is_on, "swapped", on=True, short="is on"),) if swap else ()),
            own("set-up", "setup"),
            own("coach" if self._shows_runs else "runs", "other"),
            run,
            own("note", "note"),
            charged,
            end,
            *ask_charge,
        )

    def hidden_buttons(self) -> tuple[Button, ...]:
        """Return the buttons for which there is no room, or that have only a key."""
        if self._state is None:
            return ()
        if not self._state.can_command:
            return () if self._coach() is None else (self.own_button("runs", "other"),)
        if self._question is not None:
            return self._question.hidden_buttons()
        own = self.own_button
        return (own("full", "full"), own("so much", "much"), own("new trip", "trip"))

    def takes_text(self, text: str) -> bool:
        """Take letters as text while a question wants them."""
        taken = self._question is not None and self._question.takes_text(text)
        if taken:
            self._paint()
        return taken

    def pressed(self, word: str) -> None:
        """Carry out the action of a button or key."""
        if self._state is None or not (self._state.can_command or word == "other"):
            return
        if word not in QUESTIONS:
            self._confirmation.cancel()
        if word == "leave":
            self._back()
        elif self._question is not None:
            self._question.pressed(word)
        elif word in ASKED:
            self._question = ASKED[word](self)
        else:
            self._act(word)
        self._paint()

    def _act(self, word: str) -> None:
        coach = self._coach()
        match word:
            case "other":
                self._shows_runs = not self._shows_runs
            case "swapped" if coach is not None and coach.step.code is StepCode.SWAP:
                setup = str(coach.step.values["setup"])
                self.order(setting("setup", setup), f"set-up is now {setup}")
            case "none":
                amount: Amount = ("charged_wh", 0.0)
                self.order(mark("charged", amount=amount), f"charged: {charge_text(amount)}")
            case "full" if self._confirmation.confirmed("full"):
                self.order(mark("charged_full"), "charged full: the pack is full")
            case "trip" if self._confirmation.confirmed("trip"):
                self.order(mark("new_trip"), "a new trip has begun")
            case "end" if coach is not None and self._confirmation.confirmed("end"):
                self.order(setting("trial", None), "the coach has ended")

    def order(self, command: Command, done: str) -> None:
        """Send a command to the daemon."""
        self.post_message(self.Send(command, done))

    def answered(self) -> None:
        """Close the question."""
        self._question = None
        self.line.close()

    def _back(self) -> None:
        """Take back the last answer to a question; leave it if there is none."""
        if self._question is None or not self._question.undone():
            self._leave()

    def _leave(self) -> None:
        """Cancel an open question."""
        self._confirmation.cancel()
        self.answered()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take what was typed, on enter."""
        event.stop()
        if self._question is not None:
            self._question.submit()
        self._paint()

    def on_typed_line_left(self, event: TypedLine.Left) -> None:
        """Cancel on escape."""
        event.stop()
        self._back()
        self._paint()
