"""The cue for a distance to go, from the range as it is shown: ease or hold.

For use while the daemon has no target of its own. A distance is made if the lower bound of the
range covers it. The cue is read off the figures shown beside it, so that they agree; without a
curve it gives a consumption to aim at, not a speed.
"""

from onboard.contract.advice import Cue, Stand, Standing, Target
from onboard.contract.figure import Estimate, Number, Unknown
from onboard.contract.reasons import Reason


def distance_target(to_go_m: float, range_m: Estimate, wh_per_km: Estimate) -> Target:
    """Return the target for a distance, with its cue.

    Parameters
    ----------
    to_go_m
        Distance still to go [m].
    range_m
        Range riding on as now [m].
    wh_per_km
        Recent consumption [Wh/km].

    Examples
    --------
    >>> from onboard.contract.figure import Figure
    >>> distance_target(20_000.0, Figure(21_000.0, 18_000.0, 25_000.0), Figure(40.0)).cue
    'ease'
    """
    if to_go_m <= 0:
        arrived = Unknown(Reason.DISTANCE_MADE)
        return _target(0.0, arrived, arrived, arrived, Stand(Standing.DISTANCE_MADE))
    if isinstance(range_m, Unknown):
        return _no_cue(to_go_m, range_m, range_m)
    surely_m = range_m.value if range_m.low is None else range_m.low
    if isinstance(wh_per_km, Unknown):
        return _no_cue(to_go_m, wh_per_km, wh_per_km)
    if surely_m <= 0:
        empty = Unknown(Reason.NOTHING_LEFT)
        return _target(to_go_m, 0.0, empty, "ease", Stand(Standing.NOTHING_LEFT))
    difference = to_go_m / surely_m - 1.0
    stand = Stand(Standing.AGAINST_CONSUMPTION, difference_fraction=difference)
    allowed = wh_per_km.value / (1.0 + difference)
    return _target(to_go_m, allowed, difference, "ease" if difference > 0 else "hold", stand)


def _no_cue(to_go_m: float, needed: Number, why: Unknown) -> Target:
    return _target(to_go_m, needed, why, why, Stand(Standing.NO_CUE))


def _target(
    to_go_m: float, needed: Number, difference: Number, cue: Cue | Unknown, reason: Stand
) -> Target:
    """Return the target; without a curve it has no speed."""
    none = Unknown(Reason.NO_CURVE)
    return Target(none, none, to_go_m, needed, difference, cue, none, reason)
