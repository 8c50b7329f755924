"""Why the daemon refused a command, in a sentence without its full stop."""

from collections.abc import Mapping
from typing import get_args

from groundside.words.filling import Values, Wording, statement_text, with_article
from groundside.words.units import Units
from onboard.contract import commands
from onboard.contract.codes import Code
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode

KINDS = get_args(commands.RunKind)


def refusal_text(refusal: Refusal, units: Units) -> str:
    """Return the sentence of a refusal.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> refused = commands.parse_command(b'{"kind": "mark", "id": 2, "mark": "stop"}')
    >>> refusal_text(refused.why, CHOICES["km/h"])
    'mark = "stop": expected run_start, run_end, charged_full, charged, unplugged, new_trip or note'
    """
    return statement_text(refusal, units, WORDINGS)


def _not_allowed(values: Values, _units: Units) -> str:
    key, of = str(values["key"]), str(values["of"])
    return f"{key or 'the line'} = {values['given']}: expected {_allowed(key, of)}"


def _allowed(key: str, of: str) -> str:  # noqa: PLR0911
    """Return the allowed values, from the contract's own tables."""
    if key in _ALLOWED:
        return _ALLOWED[key]
    if key == "text":
        return f"{1 if of == 'note' else 0} to {commands.TEXT_MOST} printable characters"
    if of == "setup":
        most = commands.LABEL_MOST
        return f"a label of 1 to {most} printable characters, no space at either end"
    if of == "trial":
        several = f"{commands.SETUPS_LEAST} to {commands.SETUPS_MOST}"
        return f"null, or {several} set-ups, each once, and {_one_of(KINDS)}"
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


def _not_known(values: Values, _units: Units) -> str:
    key = str(values["key"])
    what = {"position_deg": "the position", "battery": "the battery"}.get(key, key)
    try:
        reason = Reason(str(values["reason"]))
    except ValueError:
        return f"{what} is not known"
    # Only the reason's code is sent, so one with values gets a general wording.
    return f"{what} is not known: {reason.meaning if reason.names else reason.sentence}"


WORDINGS: Mapping[Code, Wording] = {
    RefusalCode.NOT_ALLOWED: _not_allowed,
    RefusalCode.NOT_ONE_AMOUNT: lambda *_: (
        f"charged: expected exactly one of {_one_of(tuple(commands.AMOUNTS))}"
    ),
    RefusalCode.NOT_KNOWN: _not_known,
    RefusalCode.NEVER_HEARD: with_article(RefusalCode.NEVER_HEARD),
    RefusalCode.STILL_HEARD: with_article(RefusalCode.STILL_HEARD),
}
"""Refusals that need more than gaps; the sentences of all others are rows of the contract."""
