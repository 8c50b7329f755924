"""Range and time left, riding on as now."""

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.present_riding import Riding
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import (
    DRAWING_LEAST_W,
)
from onboard.efficiency.statistics.shared_errors import Spread, ratio


def range_m(left_wh: Spread, riding: Riding, covariance: FloatArray) -> Estimate:
    """Return the range on the energy left [m].

    Parameters
    ----------
    left_wh
        Energy that can still be drawn at the power of that riding.
    riding
        The present way of riding.
    covariance
        Of the shared errors, shape (5, 5).
    """
    ahead_s = left_wh.value / riding.power_w * 3600.0
    km = ratio(left_wh, riding.wh_per_km(ahead_s))
    metres = Spread(km.value * 1e3, km.gradient * 1e3, km.own_variance * 1e6)
    return metres.figure(covariance, 0.0)


def time_left_s(left_wh: Spread, power_w: Spread, covariance: FloatArray) -> Estimate:
    """Return how long the energy left lasts at a power [s].

    Examples
    --------
    >>> import numpy as np
    >>> none = np.zeros(5)
    >>> time_left_s(Spread(640.0, none), Spread(320.0, none), np.zeros((5, 5))).value
    7200.0
    """
    if power_w.value < DRAWING_LEAST_W:
        return Unknown(Reason.HARDLY_DRAWING)
    hours = ratio(left_wh, power_w)
    seconds = Spread(hours.value * 3600, hours.gradient * 3600, hours.own_variance * 3600**2)
    return seconds.figure(covariance, 0.0)


def range_now_m(pack: Pack | Unknown, riding: Riding | Unknown) -> Estimate:
    """Return the range of the present way of riding [m], or why there is none."""
    if isinstance(pack, Unknown):
        return pack
    if isinstance(riding, Unknown):
        return riding
    return range_m(pack.left_spread(riding.power_w), riding, pack.covariance)
