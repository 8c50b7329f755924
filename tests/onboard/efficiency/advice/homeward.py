"""An outlook by algebra, seconds out and home, and the curve that both follow."""

import numpy as np

from onboard.efficiency.advice.outlook import Outlook, outlook
from onboard.efficiency.curve.speed_power import KNOTS, Posterior
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import CAPACITY
from tests.onboard.efficiency.curve.made_blocks import SPEEDS as THROUGH
from tests.onboard.efficiency.curve.made_blocks import cubic

SPEEDS = np.linspace(0.3, 2.6, 116)
METRES_PER_DEGREE = 111_131.8
"""Of latitude at 45 degrees north (WGS 84)."""


def ahead(full_wh=500.0, covariance=None, *, curve_sd=0.0, head_mps=0.0, seen_from=0.0) -> Outlook:
    """Return the outlook of P = 14 + 18 w^3, w the speed through water, in a head current."""

    def power_at(speed_mps, course_deg):
        through = speed_mps + head_mps
        power = cubic(through)
        by_water = (54.0 * through**2 / power) ** 2
        own = np.full(len(power), curve_sd**2)
        return power, own, speed_mps >= seen_from, by_water

    def left_at(power_w):
        gradient = np.zeros((len(power_w), 5))
        gradient[:, CAPACITY] = full_wh
        return np.full(len(power_w), full_wh), gradient, np.zeros(len(power_w))

    shared = np.zeros((5, 5)) if covariance is None else covariance
    return outlook(SPEEDS, None, power_at, left_at, 50.0, shared)


def curve(water_mps=(0.0, 0.0), seen_mps=(0.3, 2.6), sd: float = 0.01) -> Posterior:
    """Return the curve P = 14 + 18 w^3, known to `sd`."""
    count = 2 + len(KNOTS)
    ln_speed = np.log(np.interp(np.exp(KNOTS), cubic(THROUGH), THROUGH))
    ln_speed += 1e-6 * np.arange(len(KNOTS))
    known = np.eye(count) * sd**2
    return Posterior(np.array(water_mps), ln_speed, known, seen_mps, 20, 0.03, 1e-4)


def seconds(  # noqa: PLR0917
    north_mps, power_w, begin_s: float = 0.0, from_m: float = 0.0, volts_v=50.0, east_mps=0.0
) -> SettledSeconds:
    """Return seconds along a meridian, from `from_m` north of the start."""
    north = np.asarray(north_mps, np.float64)
    count = len(north)
    ones, unknown = np.ones(count), np.full(count, np.nan)
    power, volts = power_w * ones, volts_v * ones
    return SettledSeconds(
        begin_s + np.arange(1.0, count + 1), power, power / volts, volts, unknown,
        east_mps * ones, north, np.hypot(north, east_mps),
        45.0 + (from_m + np.cumsum(north)) / METRES_PER_DEGREE, -30.0 * ones,
        unknown, unknown, unknown,
    )  # fmt: skip
