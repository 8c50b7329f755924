"""Why something is unknown, in a few words that follow 'unknown' or 'no cue:'.

The words of a new reason are its row in `onboard/contract/reasons.py`. Reasons apply to live rides
and saved logs alike, so they give no advice; `mending` does.
"""

from collections.abc import Mapping

from groundside.words.filling import Values, Wording, statement_text, with_article, written
from groundside.words.units import Units
from onboard.contract.codes import Code
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason


def reason_text(unknown: Unknown, units: Units) -> str:
    """Return a reason in words.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> reason_text(Unknown(Reason.QUIET, age_s=75.0), CHOICES["km/h"])
    'nothing for 1 min 15 s'
    """
    return statement_text(unknown, units, WORDINGS)


def _silent_for(what: str) -> Wording:
    def wording(values: Values, units: Units) -> str:
        source = f"from {values['source']} " if values["source"] else ""
        return f"no {what} {source}for {written('age_s', values['age_s'], units)}"

    return wording


def _no_double_run(values: Values, units: Units) -> str:
    codes = values["reasons"]
    if not isinstance(codes, tuple):
        return "no double run"
    texts = [reason_text(_reason(str(code)), units) for code in codes]
    return f"no double run ({'; '.join(texts)})"


def _reason(code: str) -> Unknown:
    """Return the reason with a code, which only a newer daemon may know."""
    try:
        return Unknown(Reason(code))
    except ValueError:
        return Unknown(Reason.NEWER, name=code)


WORDINGS: Mapping[Code, Wording] = {
    Reason.POWER_QUIET: _silent_for("power"),
    Reason.SPEED_QUIET: _silent_for("speed"),
    Reason.SOURCE_UNHEARD: with_article(Reason.SOURCE_UNHEARD),
    Reason.NO_DOUBLE_RUN: _no_double_run,
}
"""Reasons that need more than gaps; the sentences of all others are rows of the contract."""
