"""Settled seconds of made rides, and the riding found in them."""

import numpy as np

from onboard.contract.figure import Unknown
from onboard.efficiency.riding.present_riding import PresentRiding, Riding
from onboard.efficiency.sources.settled_seconds import SettledSeconds


def settled(  # noqa: PLR0917
    power, speed, begin_s=0.0, course_deg=90.0, volts=50.0, throttle=np.nan
) -> SettledSeconds:
    """Return seconds of given columns."""
    power, speed, course_deg, volts, throttle = np.broadcast_arrays(
        *(np.asarray(column, float) for column in (power, speed, course_deg, volts, throttle))
    )
    course, count = np.radians(course_deg), len(power)
    nothing = np.full(count, np.nan)
    volts = np.where(np.isnan(power), np.nan, volts)
    return SettledSeconds(
        begin_s + np.arange(1.0, count + 1), power, power / volts, volts, np.cumsum(power) / 18e4,
        speed * np.sin(course), speed * np.cos(course), speed, nothing, nothing, throttle,
        nothing, nothing,
    )  # fmt: skip


def riding(*stretches) -> Riding | Unknown:
    """Return the riding after stretches of (power, speed, seconds[, course])."""
    present, begin = PresentRiding(), 0.0
    for power, speed, seconds, *course in stretches:
        columns = np.full(seconds, float(power)), np.full(seconds, float(speed))
        present.fold(settled(*columns, begin, *course))
        begin += seconds
    return present.now()


def wh_per_km(found: Riding) -> float:
    """Return its consumption [Wh/km]."""
    return found.power_w / found.speed_mps / 3.6


def relative_sd(found: Riding, ahead_s: float = 3600.0) -> float:
    """Return the relative standard deviation of its consumption ahead."""
    return float(np.sqrt(found.cost.mean_variance + found.cost.to_come(ahead_s)))
