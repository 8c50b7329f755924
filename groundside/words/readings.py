"""Figures of the contract, made ready to be written: a number, or why there is none."""

from groundside.words.figures import Reading
from groundside.words.reasons import reason_text
from groundside.words.units import Units
from onboard.contract.figure import Figure, Unknown


def reading(figure: Figure | float | Unknown, units: Units) -> Reading:
    """Return a figure ready to be written.

    Examples
    --------
    >>> from groundside.words.units import CHOICES
    >>> from onboard.contract.reasons import Reason
    >>> reading(Figure(93.0, 91.0, 95.0), CHOICES["km/h"])
    Reading(value=93.0, low=91.0, high=95.0, why='')
    >>> reading(Unknown(Reason.NO_BATTERY), CHOICES["km/h"]).why
    'no [battery] in the craft profile'
    """
    if isinstance(figure, Unknown):
        return Reading(None, why=reason_text(figure, units))
    if isinstance(figure, Figure):
        known = figure.low is not None and figure.high is not None
        low, high = (figure.low, figure.high) if known else (None, None)
        return Reading(figure.value, low, high)
    return Reading(float(figure))
