"""What the runs view lets the rider choose: a set-up, or the set-ups, kind and power of a trial."""

from groundside.connection.commands import setting
from groundside.dashboard.content.setups import (
    known_setups,
    next_letter,
    setup_in_force,
    valid_label,
)
from groundside.dashboard.views.asking import Asking, Question
from groundside.dashboard.views.base import OWN
from groundside.dashboard.widgets.button_bar import Button
from groundside.words.coach import KIND_WORDS
from groundside.words.figures import whole
from onboard.contract.commands import (
    LABEL_MOST,
    NUMBERS,
    SETUPS_LEAST,
    SETUPS_MOST,
    RunKind,
    TrialPlan,
)
from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot

TYPE = "other"
"""The last choice of a set-up: a name to be typed."""

POWER_STEPS_W = {"much-less": -50.0, "less": -10.0, "more": 10.0, "much-more": 50.0}
USUAL_W = 300.0
"""Power proposed where nothing is known of the craft [W]. Common practice, no source."""
WHOLE_W = 10.0


class NamingQuestion(Question):
    """Asks for a name: known ones can be chosen, any letter begins a new one."""

    def __init__(self, view: Asking, without: tuple[str, ...] = ()) -> None:
        super().__init__(view)
        self._offer(without)

    def _offer(self, without: tuple[str, ...]) -> None:
        snapshot = self.view.shown.snapshot
        now = setup_in_force(snapshot)
        known = tuple(name for name in known_setups(snapshot) if name not in without)
        letter = next_letter((*known_setups(snapshot), *without))
        self._choices = (
            *((name, "in force" if name == now else "known") for name in known),
            *(((letter, "new"),) if letter else ()),
            (TYPE, "typed on a keyboard"),
        )
        self.chosen = known.index(now) + 1 if now in known and not without else 0

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """The names offered; none while one is typed."""
        return () if self.view.line.display else self._choices

    @property
    def hint(self) -> str:
        """How a name is typed."""
        return f"Name of the set-up, up to {LABEL_MOST} letters, then enter. Escape leaves."

    def hidden_buttons(self) -> tuple[Button, ...]:
        """Return the keys that move the choice."""
        if not self.choices:
            return ()
        return (self.view.own_button("next", "next"), self.view.own_button("before", "before"))

    def takes_text(self, text: str) -> bool:
        """Take letters as the name."""
        if self.view.line.display:
            self.view.line.add(text)
        else:
            self.view.line.open(LABEL_MOST, text)
        return True

    def pressed(self, word: str) -> None:
        """Move the choice, take it, or take what was typed."""
        if word in ("next", "before") and self.choices:
            step = 1 if word == "next" else -1
            self.chosen = (self.chosen + step) % len(self._choices)
        elif word == "take" and self.choices:
            if self.chosen == len(self._choices) - 1:
                self.view.line.open(LABEL_MOST)
            else:
                self.name(self._choices[self.chosen][0])
        elif word == "send":
            self.submit()

    def submit(self) -> None:
        """Take the name that was typed."""
        typed = valid_label(self.view.line.value)
        self.view.line.close()
        self.name(typed)

    def name(self, label: str) -> None:
        """Take a name; empty for none."""
        raise NotImplementedError


class SetupQuestion(NamingQuestion):
    """Asks for the set-up on the craft."""

    @property
    def ask(self) -> str:
        """The question in words."""
        if not self.choices:
            return self.hint
        return "What is on the craft now? Choose it, or type its name."

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons of the step."""
        if not self.choices:
            return super().buttons()
        own = self.view.own_button
        return (own("next", "next"), own("take it", "take"), self.back)

    def name(self, label: str) -> None:
        """Send the set-up."""
        self.view.answered()
        if label:
            self.view.order(setting("setup", label), f"set-up is now {label}")


class TrialQuestion(NamingQuestion):
    """Asks for a trial: the names of its set-ups one after the other, its kind, its power."""

    def __init__(self, view: Asking) -> None:
        self._names: tuple[str, ...] = ()
        self._kind: RunKind | None = None
        self._power_w = proposed_power_w(view.shown.snapshot)
        self._wrong_power = False
        super().__init__(view)
        self.chosen = 0

    @property
    def _names_them(self) -> bool:
        return self._kind is None and not self._asks_kind

    _asks_kind = False

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """The names offered, while names are asked for."""
        return super().choices if self._names_them else ()

    @property
    def ask(self) -> str:
        """The question in words."""
        named = f"{', '.join(self._names)}. " if self._names else ""
        if self._asks_kind:
            return f"{named}How do you ride? Laps of one course, or one line there and back."
        if self._kind is not None:
            if self._wrong_power:
                return "Not understood. The power to hold in watts, such as 300."
            return (
                f"{named}Battery power to hold: {whole(self._power_w)} W. One that you know well, "
                "not the most. Change it, or type it."
            )
        if self.view.line.display:
            more = "The next name" if self._names else "Name of a set-up"
            ends = len(self._names) >= SETUPS_LEAST
            return f"{named}{more}, then enter.{' Enter alone: all are named.' if ends else ''}"
        if len(self._names) < SETUPS_LEAST:
            return f"{named}Coach: name the set-ups, one after the other. Choose, or type."
        return f"{named}The next one; or go on: they are all named."

    def buttons(self) -> tuple[Button, ...]:
        """Return the buttons of the step."""
        own, typing = self.view.own_button, self.view.line.display
        if self._asks_kind:
            return (own("laps", "laps"), own("there+back", "there", short="line"), self.back)
        if self._kind is not None and not typing:
            steps = (own(f"{watts:+.0f}", word) for word, watts in POWER_STEPS_W.items())
            return (*steps, own("start", "take"), self.back)
        enough = len(self._names) >= SETUPS_LEAST
        if typing:
            more = (Button("go on", f"{OWN}on"),) if enough and self._names_them else ()
            return (own("send", "send"), *more, self.back)
        go_on = own("go on", "on", short="on")
        return (
            own("next", "next"), own("add", "take"), *((go_on,) if enough else ()), self.back
        )  # fmt: skip

    def takes_text(self, text: str) -> bool:
        """Take letters as a name, digits as a power."""
        steps = self._kind is not None and not self.view.line.display and text in "+-,."
        if self._asks_kind or steps:
            return False
        return super().takes_text(text)

    def pressed(self, word: str) -> None:
        """Carry out the action of the step."""
        if word == "on" and self._names_them and self.view.line.display:
            self.submit()
            self.view.line.value = ""
            self.submit()
        elif word == "on" and self._names_them:
            self.name("")
        elif word in ("laps", "there") and self._asks_kind:
            self._kind = "laps" if word == "laps" else "there_and_back"
            self._asks_kind = False
        elif word in POWER_STEPS_W and self._kind is not None:
            self._power_w = within_limits(self._power_w + POWER_STEPS_W[word])
        elif word == "take" and self._kind is not None and not self.view.line.display:
            self._start(self._kind)
        elif self._names_them or word == "send":
            super().pressed(word)

    def submit(self) -> None:
        """Take the name or the power that was typed; an empty name: they are all named."""
        if self._kind is None:
            typed = valid_label(self.view.line.value)
            self.name(typed)
            if typed and self._names_them:
                # Names are typed one after the other.
                self.view.line.open(LABEL_MOST)
            else:
                self.view.line.close()
            return
        typed = self.view.line.value.strip().lower().removesuffix("w").strip()
        power_w = float(typed) if typed.isdecimal() else -1.0
        least, most = NUMBERS["target_power_w"]
        self._wrong_power = not least <= power_w <= most
        if not self._wrong_power:
            self._power_w = power_w
        self.view.line.close()

    def name(self, label: str) -> None:
        """Add a name; without one, they are all named, if there are enough."""
        if label and label not in self._names:
            self._names = (*self._names, label)
        if len(self._names) == SETUPS_MOST or (not label and len(self._names) >= SETUPS_LEAST):
            self._asks_kind = True
        self._offer(self._names)

    def _start(self, kind: RunKind) -> None:
        self.view.answered()
        done = f"trial of {len(self._names)} set-ups, {KIND_WORDS[kind]}"
        power = setting("target_power_w", self._power_w)
        self.view.order(power, f"power: {whole(self._power_w)} W")
        self.view.order(setting("trial", TrialPlan(self._names, kind)), done)


def proposed_power_w(snapshot: Snapshot) -> float:
    """Return a power to propose: the target, else the present one, in round tens of watts."""
    target = snapshot.target
    known = (
        None if isinstance(target, Unknown) else target.power_w,
        snapshot.steady.power_w,
        snapshot.power_w,
    )
    for power_w in known:
        if isinstance(power_w, float) and power_w >= WHOLE_W * 5:
            return within_limits(round(power_w / WHOLE_W) * WHOLE_W)
    return USUAL_W


def within_limits(power_w: float) -> float:
    """Return a power within what may be set."""
    least, most = NUMBERS["target_power_w"]
    return min(max(power_w, least, WHOLE_W), most)
