"""Wh/km over a stretch: energy over distance from the cumulative curves, a ratio of sums."""

from typing import Self

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import WINDOW_LEAST_S
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.steadiness import MOVING_MPS
from onboard.efficiency.sources.battery_side import BatterySide
from onboard.efficiency.statistics.shared_errors import COUNT, Spread, ratio

TOO_LITTLE = Unknown(Reason.TOO_LITTLE_DATA)


@dataclass(frozen=True)
class Stretch:
    """Energy and distance between two stream times.

    Parameters
    ----------
    seconds_s
        Length [s].
    energy_wh
        Battery-side energy [Wh].
    distance_m
        Distance over ground [m].
    """

    seconds_s: float
    energy_wh: Spread
    distance_m: Spread

    def wh_per_km(self) -> Spread:
        """Return the consumption [Wh/km]; the distance must not be zero."""
        distance = self.distance_m
        km = Spread(distance.value / 1e3, distance.gradient / 1e3, distance.own_variance / 1e6)
        return ratio(self.energy_wh, km)

    @classmethod
    def counted(
        cls,
        seconds_s: float,
        energy_wh: Spread,
        distance_m: float,
        distance_variance_m2: float,
    ) -> Self:
        """Return a stretch whose distance shares no error with its energy [m, m^2]."""
        distance = Spread(distance_m, np.zeros(COUNT), distance_variance_m2)
        return cls(seconds_s, energy_wh, distance)


def window(
    window_s: float, power: BatterySide | Unknown, speed: DistanceMeter | Unknown
) -> Stretch | Unknown:
    """Return the stretch of the last `window_s` seconds, as far as both meters reach."""
    if isinstance(power, Unknown):
        return power
    if isinstance(speed, Unknown):
        return speed
    end_s = min(power.last_s, speed.last_s)
    begin_s = max(end_s - window_s, power.first_s, speed.first_s)
    if end_s - begin_s < WINDOW_LEAST_S:
        return TOO_LITTLE
    return Stretch.counted(
        end_s - begin_s,
        power.between(begin_s, end_s),
        speed.at_m(end_s) - speed.at_m(begin_s),
        speed.noise_variance_m2(end_s - begin_s),
    )


def wh_per_km(stretch: Stretch | Unknown, covariance: FloatArray) -> Estimate:
    """Return the consumption over a stretch with its interval [Wh/km]; unknown at rest.

    Examples
    --------
    >>> none = np.zeros(COUNT)
    >>> ride = Stretch(5400.0, Spread(385.0, none), Spread(11_300.0, none))
    >>> round(wh_per_km(ride, np.zeros((5, 5))).value, 1)
    34.1
    >>> wh_per_km(Stretch(20.0, Spread(0.1, none), Spread(1.0, none)), np.zeros((5, 5)))
    Unknown(hardly_moving)
    """
    if isinstance(stretch, Unknown):
        return stretch
    if stretch.distance_m.value < MOVING_MPS * stretch.seconds_s:
        return Unknown(Reason.HARDLY_MOVING)
    return stretch.wh_per_km().figure(covariance)
