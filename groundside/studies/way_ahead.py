"""The way ahead: legs with their own water current and wind, and what each speed costs on them.

Against a head current u a craft at w through the water makes w - u over ground; there and back at
one w it makes (w^2 - u^2) / w on average over the whole way, so current always costs energy.

Wind. A craft at v over ground against a head wind W feels the drag 0.5 rho A (W + v) |W + v|, of
which the curve, learned in no known wind, holds 0.5 rho A v^2. Half of the battery's power or less
moves the craft, so the difference costs drag x w / DRIVE_FRACTION. Of a wind that is not stated
only the first order counts: rho A v W, opposite on the way back.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Self

import numpy as np
import numpy.typing as npt

from groundside.studies.leg import Leg
from groundside.studies.trip_practice import (
    AIR_DENSITY_KGPM3,
    DRIVE_FRACTION,
    STATED_WIND_SD_MPS,
    UNKNOWN_WIND_SD_MPS,
    WINDAGE_M2,
    WINDAGE_SD_FRACTION,
)
from onboard.block import FloatArray
from onboard.dataclass import dataclass

LEAST_WAY_MPS = 0.05
"""Least speed over ground that counts as making way [m/s]."""

LEAST_POWER_FRACTION = 0.3
"""Least share of the power that a following wind leaves: propeller and instruments still draw."""


@dataclass(frozen=True)
class Way:
    """The way ahead.

    Parameters
    ----------
    legs
        The way there, in order; at least one.
    there_and_back
        Whether to include the way back, in the same water and wind.
    power_factor
        Factor on the curve's power, such as for another load.
    """

    legs: tuple[Leg, ...]
    there_and_back: bool = False
    power_factor: float = 1.0

    @property
    def out_m(self) -> float:
        """Length of the way there [m]."""
        return sum(leg.distance_m for leg in self.legs)

    @property
    def whole_m(self) -> float:
        """Length of the whole way [m]."""
        return self.out_m * (2.0 if self.there_and_back else 1.0)

    @property
    def states_water(self) -> bool:
        """Whether the water current of any leg is stated."""
        return any(leg.head_current_mps is not None for leg in self.legs)

    @property
    def states_wind(self) -> bool:
        """Whether the wind of any leg is stated."""
        return any(leg.headwind_mps is not None for leg in self.legs)

    def turned_at(self, out_m: float) -> Self:
        """Return the way with its far end elsewhere: legs cut off, or the last one prolonged.

        Examples
        --------
        >>> way = Way((Leg(1000.0), Leg(500.0, 0.2)))
        >>> [leg.distance_m for leg in way.turned_at(1200.0).legs]
        [1000.0, 200.0]
        >>> [leg.distance_m for leg in way.turned_at(2000.0).legs]
        [1000.0, 1000.0]
        """
        legs: list[Leg] = []
        left_m = out_m
        for leg in self.legs:
            last = leg is self.legs[-1] or leg.distance_m >= left_m
            length_m = left_m if last else leg.distance_m
            legs.append(replace(leg, distance_m=length_m))
            left_m -= length_m
            if last:
                break
        return replace(self, legs=tuple(legs))

    def ways(self) -> Iterator[tuple[float, Leg]]:
        """Yield the legs in the order ridden, with 1.0 on the way there and -1.0 on that back."""
        for leg in self.legs:
            yield 1.0, leg
        if self.there_and_back:
            for leg in reversed(self.legs):
                yield -1.0, leg.back()


@dataclass(frozen=True)
class Cost:
    """What a way takes at each speed, shape (n,).

    Parameters
    ----------
    made
        Whether the craft makes way on all legs; the rest counts only where it does.
    time_s, energy_wh
        Of the whole way.
    wind_sd_fraction
        Relative standard deviation of the energy by the wind.
    """

    made: npt.NDArray[np.bool_]
    time_s: FloatArray
    energy_wh: FloatArray
    wind_sd_fraction: FloatArray


def cost(way: Way, through_mps: FloatArray, power_w: FloatArray) -> Cost:
    """Return what a way takes at speeds through the water.

    Parameters
    ----------
    way
        The way ahead.
    through_mps, power_w
        Speeds and the curve's power at them, shape (n,).
    """
    made = np.full(len(through_mps), True)
    time_s, energy_ws, by_wind_ws, by_windage_ws = np.zeros((4, len(through_mps)))
    for sign, leg in way.ways():
        over = through_mps - (leg.head_current_mps or 0.0)
        made &= over >= LEAST_WAY_MPS
        leg_s = leg.distance_m / np.maximum(over, LEAST_WAY_MPS)
        calm_w = power_w * way.power_factor
        drag_n = _drag_n(leg.headwind_mps or 0.0, over) - _drag_n(0.0, over)
        wind_w = np.maximum(
            drag_n * through_mps / DRIVE_FRACTION, (LEAST_POWER_FRACTION - 1.0) * calm_w
        )
        time_s += leg_s
        energy_ws += (calm_w + wind_w) * leg_s
        stated = leg.headwind_mps is not None
        wind_sd = STATED_WIND_SD_MPS if stated else UNKNOWN_WIND_SD_MPS
        slope_n = AIR_DENSITY_KGPM3 * WINDAGE_M2 * np.abs(over + (leg.headwind_mps or 0.0))
        by_wind_ws += sign * slope_n * wind_sd * through_mps / DRIVE_FRACTION * leg_s
        by_windage_ws += wind_w * leg_s
    off = np.hypot(by_wind_ws, WINDAGE_SD_FRACTION * by_windage_ws)
    return Cost(made, time_s, energy_ws / 3600.0, off / energy_ws)


def _drag_n(headwind_mps: float, over_mps: FloatArray) -> FloatArray:
    """Return the drag of the air at a speed over ground against a head wind [N]."""
    felt = headwind_mps + over_mps
    return np.asarray(0.5 * AIR_DENSITY_KGPM3 * WINDAGE_M2 * felt * np.abs(felt), np.float64)
