"""The cue for a distance to go, from consumption alone: ease, hold or push.

The simplest form, for use while the daemon has no target or the curve has not been learned. The
energy left over the distance to go is the consumption that just suffices, and the recent
consumption is compared with it. It gives a target consumption, not a speed.
"""

from onboard.contract.advice import Cue, Stand, Standing, Target
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.contract.reasons import Reason

EASE_ABOVE_FRACTION = 0.0
"""Relative excess over the consumption that just suffices from which the cue is to ease: any, as
falling short is the costly side."""

PUSH_BELOW_FRACTION = -0.10
"""Relative difference below which the cue is to push: only with a clear margin."""


def distance_target(to_go_m: float, left_wh: Estimate, recent_wh_per_km: Estimate) -> Target:
    """Return the target for a distance, with the cue based on the recent consumption.

    Parameters
    ----------
    to_go_m
        Distance still to go [m].
    left_wh
        Energy that can be drawn above the reserve [Wh].
    recent_wh_per_km
        Recent consumption [Wh/km].

    Examples
    --------
    >>> from onboard.contract.figure import Figure
    >>> distance_target(20_000.0, Figure(640.0), Figure(40.0)).cue
    'ease'
    """
    if to_go_m <= 0:
        arrived = Unknown(Reason.DISTANCE_MADE)
        return _target(0.0, arrived, arrived, arrived, Stand(Standing.DISTANCE_MADE))
    if isinstance(left_wh, Unknown):
        return _no_cue(to_go_m, left_wh, left_wh)
    needed = left_wh.value / (to_go_m / 1000.0)
    if isinstance(recent_wh_per_km, Unknown):
        return _no_cue(to_go_m, needed, recent_wh_per_km)
    if needed <= 0:
        empty = Unknown(Reason.NOTHING_LEFT)
        return _target(to_go_m, 0.0, empty, "ease", Stand(Standing.NOTHING_LEFT))
    difference = recent_wh_per_km.value / needed - 1.0
    stand = Stand(Standing.AGAINST_CONSUMPTION, difference_fraction=difference)
    if difference > EASE_ABOVE_FRACTION:
        return _target(to_go_m, needed, difference, "ease", stand)
    cue: Cue = "push" if difference < PUSH_BELOW_FRACTION else "hold"
    return _target(to_go_m, needed, difference, cue, stand)


def _no_cue(to_go_m: float, needed: Number, why: Unknown) -> Target:
    return _target(to_go_m, needed, why, why, Stand(Standing.NO_CUE))


def _target(
    to_go_m: float, needed: Number, difference: Number, cue: Cue | Unknown, reason: Stand
) -> Target:
    """Return the target; without a curve it has no speed."""
    none = Unknown(Reason.NO_CURVE)
    return Target(none, none, to_go_m, needed, difference, cue, none, reason)
