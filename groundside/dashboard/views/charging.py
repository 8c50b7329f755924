"""The question how much was charged, answered with buttons alone or typed.

It starts with a number in one of three units, which buttons change. A digit or letter opens the
input line instead; from then on every key is text.
"""

from collections.abc import Mapping

from groundside.connection.commands import mark
from groundside.dashboard.views.asking import Asking, Question
from groundside.dashboard.views.base import OWN
from groundside.dashboard.widgets.button_bar import Button
from groundside.words.charge import EXAMPLES, bare_number, charge_text, parse_charge
from onboard.contract.codec import clean
from onboard.contract.commands import AMOUNTS, TEXT_MOST, Amount, AmountKind
from onboard.contract.figure import Estimate, Figure, Number, Unknown, within
from onboard.contract.snapshot import Snapshot
from onboard.dataclass import dataclass

STEPS = {"much-less": -10.0, "less": -1.0, "more": 1.0, "much-more": 10.0}
"""What each button adds, in steps of the unit."""


@dataclass(frozen=True)
class ChargeUnit:
    """A unit in which a charge is stated.

    Parameters
    ----------
    name
        Its symbol.
    kind
        The amount that is sent.
    scale
        The amount that is one unit.
    step
        Small step of the buttons, in units. Common practice, no source: a thumb reaches any usual
        charge in a few presses.
    usual
        Number proposed if nothing is known, in units. Common practice, no source.
    """

    name: str
    kind: AmountKind
    scale: float
    step: float
    usual: float


UNITS: Mapping[str, ChargeUnit] = {
    "in-percent": ChargeUnit("%", "left_fraction", 0.01, 1.0, 80.0),
    "in-wh": ChargeUnit("Wh", "charged_wh", 1.0, 10.0, 100.0),
    "in-ah": ChargeUnit("Ah", "charged_ah", 1.0, 0.5, 5.0),
}
"""The units by the action that chooses each."""


def proposed(snapshot: Snapshot, unit: ChargeUnit) -> float:
    """Return the number to start from, in whole steps: the present charge, or what the trip used.

    Parameters
    ----------
    snapshot
        The present snapshot.
    unit
        The unit.
    """
    trip = snapshot.trip
    known: Mapping[AmountKind, Number] = {
        "left_fraction": _value(within(snapshot.battery, lambda it: it.charge_fraction)),
        "charged_wh": _value(trip.energy_wh),
        "charged_ah": _value(trip.charge_ah),
    }
    amount = known[unit.kind]
    if isinstance(amount, Unknown) or round(amount / unit.scale / unit.step) < 1:
        return unit.usual
    return _within(unit, round(amount / unit.scale / unit.step) * unit.step)


def _value(figure: Estimate | Number) -> Number:
    return figure.value if isinstance(figure, Figure) else figure


def _within(unit: ChargeUnit, number: float) -> float:
    """Return a number no less than zero and no more than can be stated."""
    return min(max(0.0, number), AMOUNTS[unit.kind] / unit.scale)


class ChargeQuestion(Question):
    """Asks how much was charged."""

    def __init__(self, view: Asking) -> None:
        super().__init__(view)
        self._unreadable = False
        self._unit = UNITS["in-percent"]
        self._numbers = {unit.name: proposed(view.shown.snapshot, unit) for unit in UNITS.values()}

    @property
    def _typing(self) -> bool:
        return self.view.line.display

    @property
    def ask(self) -> str:
        """The question in words."""
        if self._typing:
            if self._unreadable and bare_number(self.view.line.value):
                return "A number of what? Add Wh, Ah or %, or press one. Escape leaves."
            ask = "Not understood." if self._unreadable else "How much?"
            return f"{ask} Type it, {EXAMPLES}, then enter. Escape leaves."
        if self._unit.kind == "left_fraction":
            return "How full is the pack now, reserve included? Or say what went in: Wh, Ah."
        return "How much went in? Or say how full the pack is now, reserve included: %."

    @property
    def figure(self) -> tuple[str, str]:
        """The number to send, and its unit."""
        if self._typing:
            return "", ""
        return f"{self._numbers[self._unit.name]:g}", self._unit.name

    def buttons(self) -> tuple[Button, ...]:
        """Return the answers, units and steps; units have no key, for a letter is text."""
        units = tuple(Button(unit.name, OWN + word) for word, unit in UNITS.items())
        answers = (
            Button("full", f"{OWN}is-full"),
            Button("not charged", f"{OWN}none", short="none"),
        )
        if self._typing:
            return (*units, *answers, self.back)
        turn = _next_unit(self._unit)
        own = self.view.own_button
        steps = (own(f"{times * self._unit.step:+g}", word) for word, times in STEPS.items())
        in_unit = Button(f"in {UNITS[turn].name}", OWN + turn)
        return (*answers, in_unit, self.back, own("send", "send"), *steps)

    def takes_text(self, text: str) -> bool:
        """Take letters and digits as text; signs are steps until something is typed."""
        if not self._typing:
            if text in "+-,.":
                return False
            self.view.line.open(TEXT_MOST)
        return super().takes_text(text)

    def pressed(self, word: str) -> None:
        """Take a step, a unit or an answer."""
        line = self.view.line
        if word in ("is-full", "none"):
            line.value = "full" if word == "is-full" else "no"
            self._submit_text()
        elif self._typing:
            if word in UNITS and bare_number(line.value):
                line.value = f"{line.value.strip()} {UNITS[word].name}"
            self._submit_text()
        elif word in UNITS:
            self._unit = UNITS[word]
        elif word in STEPS:
            number = self._numbers[self._unit.name] + STEPS[word] * self._unit.step
            self._numbers[self._unit.name] = _within(self._unit, number)
        elif word == "send":
            self.submit()

    def submit(self) -> None:
        """Send the number shown, or what was typed."""
        if self._typing:
            self._submit_text()
            return
        number = self._numbers[self._unit.name]
        self._send((self._unit.kind, round(number * self._unit.scale, 6)))

    def _submit_text(self) -> None:
        """Send what was typed; what is not understood stays to be corrected."""
        typed = self.view.line.value
        amount = parse_charge(typed)
        if amount is None and clean(typed):
            self._unreadable = True
        elif amount is None:
            self.view.answered()
        else:
            self._send(amount)

    def _send(self, amount: Amount) -> None:
        self.view.answered()
        self.view.order(mark("charged", amount=amount), f"charged: {charge_text(amount)}")


def _next_unit(unit: ChargeUnit) -> str:
    """Return the action that chooses the unit after this one."""
    words = list(UNITS)
    place = [one.name for one in UNITS.values()].index(unit.name)
    return words[(place + 1) % len(words)]
