"""The cue to the rider for a distance to go: ease, hold or push.

The simplest form, for a viewer whose daemon was given no target and for the time before the curve
is learned: what is left over the way to go is the consumption that still makes it, and the recent
consumption is held against it. It names the consumption to keep to, not the speed.
"""

from dataclasses import dataclass

from onboard.efficiency.figure import Estimate, Number, Unknown
from onboard.efficiency.target import Cue

EASE_ABOVE_FRACTION = 0.0
"""Any consumption above the one that makes it asks to ease: falling short is the costly side."""

PUSH_BELOW_FRACTION = -0.10
"""Only a clear margin invites to go faster."""


@dataclass(frozen=True)
class ConsumptionTarget:
    """A distance to go and how the rider stands to it.

    Parameters
    ----------
    distance_m
        Distance still to go [m].
    wh_per_km
        The consumption that uses up just what is left above the reserve [Wh/km].
    difference_fraction
        How far the recent consumption is above it (below: negative).
    cue
        What to do.
    reason
        The same in a sentence.
    """

    distance_m: float
    wh_per_km: Number
    difference_fraction: Number
    cue: Cue | Unknown
    reason: str


def distance_target(
    to_go_m: float, left_wh: Estimate, recent_wh_per_km: Estimate
) -> ConsumptionTarget:
    """Hold the recent consumption against what makes the distance.

    Parameters
    ----------
    to_go_m
        Distance still to go [m].
    left_wh
        What can be drawn above the reserve [Wh].
    recent_wh_per_km
        Consumption lately [Wh/km].

    Examples
    --------
    >>> from onboard.efficiency.figure import Figure
    >>> distance_target(20_000.0, Figure(640.0), Figure(40.0)).cue
    'ease'
    """
    if to_go_m <= 0:
        arrived = Unknown("the distance is made")
        return ConsumptionTarget(0.0, arrived, arrived, arrived, "The distance is made.")
    if isinstance(left_wh, Unknown):
        return _no_cue(to_go_m, left_wh, left_wh)
    needed = left_wh.value / (to_go_m / 1000.0)
    if isinstance(recent_wh_per_km, Unknown):
        return _no_cue(to_go_m, needed, recent_wh_per_km)
    if needed <= 0:
        empty = Unknown("nothing is left above the reserve")
        return ConsumptionTarget(to_go_m, 0.0, empty, "ease", "Nothing is left above the reserve.")
    difference = recent_wh_per_km.value / needed - 1.0
    percent = round(100 * abs(difference))
    if difference > EASE_ABOVE_FRACTION:
        return ConsumptionTarget(
            to_go_m, needed, difference, "ease", f"Using {percent} % more than makes it."
        )
    cue: Cue = "push" if difference < PUSH_BELOW_FRACTION else "hold"
    return ConsumptionTarget(
        to_go_m, needed, difference, cue, f"Using {percent} % less than makes it."
    )


def _no_cue(to_go_m: float, needed: Number, why: Unknown) -> ConsumptionTarget:
    return ConsumptionTarget(to_go_m, needed, why, why, f"No cue: {why.why}.")
