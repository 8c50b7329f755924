"""Why the daemon did not do what a viewer asked, in a sentence without its full stop."""

from collections.abc import Mapping
from typing import get_args

from groundside.words.filling import Sentence, called, fill, written
from groundside.words.reasons import REASONS
from groundside.words.units import Units
from onboard.contract import commands
from onboard.contract.codes import Value
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode


def refusal_text(refusal: Refusal, units: Units) -> str:
    """Return why not.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> refused = commands.parse_command(b'{"kind": "mark", "id": 2, "mark": "stop"}')
    >>> refusal_text(refused.why, CHOICES["km/h"])
    'mark = "stop": expected run_start, run_end, charged_full, charged, unplugged, new_trip or note'
    """
    return fill(REFUSALS[refusal.code], refusal, units)


def _not_allowed(values: Mapping[str, Value], units: Units) -> str:
    del units
    key, of = str(values["key"]), str(values["of"])
    return f"{key or 'the line'} = {values['given']}: expected {_allowed(key, of)}"


def _allowed(key: str, of: str) -> str:  # noqa: PLR0911
    """Return what is allowed, from the contract's own tables."""
    if key in _ALLOWED:
        return _ALLOWED[key]
    if key == "text":
        return f"{1 if of == 'note' else 0} to {commands.TEXT_MOST} printable characters"
    if of == "setup":
        most = commands.LABEL_MOST
        return f"a label of 1 to {most} printable characters, no space at either end"
    if of == "home":
        return '"here", or [latitude, longitude] in degrees'
    if of in commands.NUMBERS:
        least, most_of = commands.NUMBERS[of]
        clears = ", or null to clear it" if of in commands.TARGETS else ""
        return f"a number from {least:.10g} to {most_of:.10g}{clears}"
    if key in commands.AMOUNTS:
        return f"a number from 0 to {commands.AMOUNTS[key]:.10g}"
    return "something else"


def _one_of(names: tuple[str, ...]) -> str:
    return f"{', '.join(names[:-1])} or {names[-1]}"


_ALLOWED: Mapping[str, str] = {
    "": "an object",
    "kind": "set or mark",
    "key": _one_of(get_args(commands.Key)),
    "mark": _one_of(get_args(commands.MarkName)),
    "id": f"a whole number from 0 to {commands.HIGHEST_ID}",
    "source": '"battery 1", "motor 0", "GPS receiver", "fused velocity" or "display speed"',
    "latitude": f"a number from -{commands.LATITUDE_MOST_DEG:g} to {commands.LATITUDE_MOST_DEG:g}",
    "longitude": (
        f"a number from -{commands.LONGITUDE_MOST_DEG:g} to {commands.LONGITUDE_MOST_DEG:g}"
    ),
}


def _not_known(values: Mapping[str, Value], units: Units) -> str:
    del units
    key = str(values["key"])
    what = {"position_deg": "the position", "battery": "the battery"}.get(key, key)
    try:
        reason = Reason(str(values["reason"]))
    except ValueError:
        return f"{what} is not known"
    sentence = REASONS[reason]
    why = sentence if isinstance(sentence, str) and not reason.names else reason.meaning
    return f"{what} is not known: {why}"


def _cannot_record(values: Mapping[str, Value], units: Units) -> str:
    cause = written("errno", values["errno"], units)
    return f"{values['path']}: no new record can be started ({cause})"


REFUSALS: Mapping[RefusalCode, Sentence] = {
    RefusalCode.NOT_ALLOWED: _not_allowed,
    RefusalCode.MISSING: "{key}: missing",
    RefusalCode.NO_SUCH_KEY: "{key}: no such key",
    RefusalCode.NOT_ONE_AMOUNT: (
        f"charged: expected exactly one of {_one_of(tuple(commands.AMOUNTS))}"
    ),
    RefusalCode.LINE_TOO_LONG: "the line is longer than {most} bytes",
    RefusalCode.NOT_UTF_8: "the line is not UTF-8",
    RefusalCode.NOT_JSON: "the line is not JSON: expected one object a line",
    RefusalCode.NO_NUMBER: "{given} is not JSON: expected a number or null",
    RefusalCode.KEY_TWICE: "a key appears twice in the line",
    RefusalCode.NOT_HERE: (
        "commands are taken from the board itself only: run the viewer there, or connect through "
        "a tunnel"
    ),
    RefusalCode.LOOKS_ON: (
        "this viewer may look only: pair it again on the craft with --role crew"
    ),
    RefusalCode.TOO_FAST: "more than {most} lines a second: try again",
    RefusalCode.TOO_MANY_WAIT: "too many commands are waiting: try again",
    RefusalCode.NO_COMMANDS: "this daemon takes no commands",
    RefusalCode.TOO_MANY_VIEWERS: "{most} viewers are connected already, which is the limit",
    RefusalCode.TOO_MANY_SCREENS: (
        "{name} is connected on {most} screens already, which is the limit"
    ),
    RefusalCode.NOT_KNOWN: _not_known,
    RefusalCode.NEVER_HEARD: lambda values, _: f"{called(values)} has never been heard",
    RefusalCode.STILL_HEARD: lambda values, _: f"{called(values)} is still heard: unplug it first",
    RefusalCode.ONLY_ONE: "no other battery is heard: without {source} power would be unknown",
    RefusalCode.CURVE_NOT_READY: (
        "the curve of the present set-up cannot be worked out yet: try again later"
    ),
    RefusalCode.READING_RECORD: "the last record is still being read: try again in a moment",
    RefusalCode.CARD_BEHIND: "the card refuses the record: try again once recording goes on",
    RefusalCode.CANNOT_RECORD: _cannot_record,
    RefusalCode.FAULT: "not done, because of a program fault: see the daemon's log",
    RefusalCode.NEWER: "a reason that this viewer does not know: {name}",
}
