"""Sums over rides of the known values."""

import math
from collections.abc import Iterable

from onboard.contract.figure import Estimate, Figure, Number, Unknown
from onboard.contract.reasons import Reason

KNOWN_IN_NONE = Unknown(Reason.KNOWN_IN_NONE)


def add_numbers(numbers: Iterable[Number]) -> Number:
    """Return the sum of the known numbers."""
    known = [one for one in numbers if not isinstance(one, Unknown)]
    return math.fsum(known) if known else KNOWN_IN_NONE


def add_figures(figures: Iterable[Estimate]) -> Estimate:
    """Return the sum of the known figures, with the interval of errors common to all.

    Notes
    -----
    An error in the gain of a craft's sensors is the same in all of its rides and does not average
    out, so half widths of 95 % intervals are added, not their squares: exact for errors common to
    all rides, and too wide for the rest.

    Examples
    --------
    >>> add_figures([Figure(2.0, 1.0, 4.0), Unknown(Reason.NOT_READ), Figure(3.0, 2.5, 3.5)])
    Figure(value=5.0, low=3.5, high=7.5)
    """
    known = [one for one in figures if isinstance(one, Figure)]
    if not known:
        return KNOWN_IN_NONE
    value = math.fsum(one.value for one in known)
    lows = [one.low for one in known if one.low is not None]
    highs = [one.high for one in known if one.high is not None]
    if len(lows) < len(known) or len(highs) < len(known):
        return Figure(value)
    return Figure(value, math.fsum(lows), math.fsum(highs))
