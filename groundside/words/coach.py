"""The coach's steps in words: a sentence, and what is read at arm's length."""

from collections.abc import Mapping

from groundside.words.figures import UNKNOWN, whole
from groundside.words.filling import Values, Wording, fill, statement_text
from groundside.words.units import Units
from onboard.contract.coach import Step, StepCode
from onboard.contract.codes import Code
from onboard.contract.commands import RunKind
from onboard.contract.remarks import CautionCode

KIND_WORDS: Mapping[RunKind, str] = {"laps": "laps", "there_and_back": "there and back"}


def step_text(step: Step, units: Units) -> str:
    """Return the sentence of a step.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> step_text(Step(StepCode.HOLD, target_w=200.0, left_s=42.0), CHOICES["kn"])
    'Hold 200 W, 42 s more.'
    >>> step_text(Step(StepCode.HOLD, target_w=None, left_s=42.0), CHOICES["kn"])
    'Hold the power, 42 s more.'
    >>> step_text(Step(StepCode.ENOUGH_ALIKE, setups=("A", "B", "slim")), CHOICES["kn"])
    'Enough: A, B and slim cannot be told apart.'
    """
    return statement_text(step, units, WORDINGS)


def step_word(step: Step) -> str:
    """Return the one word of a step, for large letters.

    Examples
    --------
    >>> step_word(Step(StepCode.SWAP, setup="slim"))
    'SWAP'
    >>> step_word(Step(StepCode.OFF_POWER, now_w=250.0, target_w=200.0))
    'EASE'
    """
    if step.code is StepCode.OFF_POWER:
        now_w, target_w = step.values["now_w"], step.values["target_w"]
        is_over = isinstance(now_w, float) and isinstance(target_w, float) and now_w > target_w
        return "EASE" if is_over else "PUSH"
    return _WORDS.get(step.code, "")


def step_number(step: Step) -> tuple[str, str]:
    """Return the number of a step with its unit, for large digits; empty if it has none.

    Examples
    --------
    >>> step_number(Step(StepCode.BACK, course_deg=8.6))
    ('009', '°')
    >>> step_number(Step(StepCode.LAP, target_w=200.0, left_fraction=0.4))
    ('40', '%')
    """
    values = step.values
    if step.code in (StepCode.SETTLE, StepCode.HOLD):
        return _written(values["left_s"]), "s"
    if step.code is StepCode.BACK:
        course = values["course_deg"]
        return (f"{round(course) % 360:03d}", "°") if isinstance(course, float) else ("", "")
    if step.code is StepCode.LAP and isinstance(left := values["left_fraction"], float):
        return whole(100.0 * left), "%"
    if step.code is StepCode.OFF_POWER:
        return _written(values["now_w"]), "W"
    return "", ""


def caution_word(code: str) -> str:
    """Return a caution about the standing in a few words.

    Examples
    --------
    >>> caution_word("power_not_held"), caution_word("of_a_newer_daemon")
    ('power not held', 'of a newer daemon')
    """
    return _CAUTIONS.get(code, code.replace("_", " "))


def _written(value: object) -> str:
    return whole(value) if isinstance(value, float) else UNKNOWN


def _holding(code: Code) -> Wording:
    """Return the wording of a step that holds a power, without a number if none is set."""

    def of(values: Values, units: Units) -> str:
        text = code.sentence
        if values["target_w"] is None:
            text = text.replace("at {target_w}", "at one power").replace("{target_w}", "the power")
        if values.get("left_fraction", 0.0) is None:
            text = text.replace(", {left_fraction} of it to go", "")
        return fill(text, values, units)

    return of


def _back(values: Values, _units: Units) -> str:
    course = values["course_deg"]
    where = f"{round(course) % 360:03d}°" if isinstance(course, float) else UNKNOWN
    return f"Back along the same line, {where}."


def _alike(values: Values, _units: Units) -> str:
    setups = values["setups"]
    if not isinstance(setups, tuple) or not setups:
        return "Enough: they cannot be told apart."
    *others, last = map(str, setups)
    names = f"{', '.join(others)} and {last}" if others else last
    return f"Enough: {names} cannot be told apart."


_WORDS: Mapping[Code, str] = {
    StepCode.SWAP: "SWAP",
    StepCode.START: "GO",
    StepCode.START_LAP: "GO",
    StepCode.SETTLE: "SETTLE",
    StepCode.HOLD: "HOLD",
    StepCode.TURN: "TURN",
    StepCode.BACK: "BACK",
    StepCode.LAP: "LAP",
    StepCode.NO_DATA: "NO DATA",
    StepCode.RECKONING: "WAIT",
    StepCode.ENOUGH: "DONE",
    StepCode.ENOUGH_ALIKE: "DONE",
}

_CAUTIONS: Mapping[str, str] = {
    CautionCode.CURRENT_CHANGED.code: "the water changed",
    CautionCode.OUTLIER_RUN.code: "a run was left out",
    CautionCode.ORDER_CONFOUNDED.code: "set-ups not alternated",
    CautionCode.VOLTAGE_DIFFERS.code: "the charge differs",
    CautionCode.MOTOR_CURRENT_HELD.code: "motor current held, not power",
}
"""Cautions whose codes are not plain enough."""

WORDINGS: Mapping[Code, Wording] = {
    **{
        code: _holding(code)
        for code in (
            StepCode.START, StepCode.START_LAP, StepCode.SETTLE, StepCode.HOLD, StepCode.LAP
        )
    },
    StepCode.BACK: _back,
    StepCode.ENOUGH_ALIKE: _alike,
}  # fmt: skip
"""Steps that need more than gaps."""
