"""How the ride compares with the target, in a sentence under the cue."""

from collections.abc import Mapping

from groundside.words.figures import UNKNOWN, percent
from groundside.words.filling import Values, Wording, statement_text
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.advice import Standing, Target
from onboard.contract.codes import Code
from onboard.contract.figure import Unknown


def stand_text(target: Target, units: Units) -> str:
    """Return how the ride compares with the target, or why there is no cue.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> from onboard.contract.figure import throughout
    >>> from onboard.contract.reasons import Reason
    >>> from onboard.contract.advice import Stand
    >>> from dataclasses import replace
    >>> nothing = throughout(Target)(Unknown(Reason.NO_CURVE))
    >>> over = replace(nothing, reason=Stand(Standing.AGAINST_SPEED, difference_fraction=0.31))
    >>> stand_text(over, CHOICES["km/h"])
    '31 % above the target speed.'
    >>> stand_text(replace(nothing, reason=Stand(Standing.NO_CUE)), CHOICES["km/h"])
    'No cue: no curve yet.'
    """
    if target.reason.code is Standing.NO_CUE and isinstance(target.cue, Unknown):
        return f"No cue: {reason_text(target.cue, units)}."
    return statement_text(target.reason, units, WORDINGS)


def _against(of: str) -> Wording:
    def wording(values: Values, _units: Units) -> str:
        difference = values["difference_fraction"]
        if not isinstance(difference, int | float):
            return f"{UNKNOWN} from {of}."
        share = percent(abs(difference))
        if share == percent(0.0):
            return f"At {of}."
        return f"{share} {'above' if difference > 0 else 'below'} {of}."

    return wording


def _consumption(values: Values, _units: Units) -> str:
    difference = values["difference_fraction"]
    if not isinstance(difference, int | float):
        return f"{UNKNOWN} from the budget."
    return f"Using {percent(abs(difference))} {'more' if difference > 0 else 'less'} than budgeted."


WORDINGS: Mapping[Code, Wording] = {
    Standing.AGAINST_SPEED: _against("the target speed"),
    Standing.AGAINST_POWER: _against("the target power"),
    Standing.AGAINST_ADVISED: _against("the speed that makes the distance"),
    Standing.AGAINST_CONSUMPTION: _consumption,
}
"""Standings that need more than gaps; the sentences of all others are rows of the contract."""
