"""How the power of a riding follows the voltage as the pack empties.

With P proportional to V^k, k = d ln P / d ln V depends on what the rider holds. A power, or a
speed: k = 0. A throttle that sets the duty: the motor gets a share of the pack's voltage; revs go
about with it and a propeller's power with their cube, so k is between 2 and 3. A throttle that sets
the motor current: it holds the torque, and k is small. What is held is told by the throttle
channel, where there is one, which gives a prior of k, and by the trend of ln P over that of ln V;
the two are weighted by their inverse variances.

The trends are compared, not the blocks: within seconds voltage sags because power rises, which is
the other way round.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.riding.common_practice import (
    RIDING_SD_FRACTION,
    SAG_OF_MOVED_THROTTLE,
    SAG_OF_STEADY_THROTTLE,
    SAG_OF_UNKNOWN_THROTTLE,
    THROTTLE_BLOCKS_LEAST,
    THROTTLE_KNOWN_SHARE,
    THROTTLE_STEADY_SD,
    TREND_CORRELATION_MOST,
)
from onboard.efficiency.riding.courses import Indices
from onboard.efficiency.riding.ridden_blocks import THROTTLE, VOLTS, ln_power

OF_SPEED = 0.35
"""d ln v / d ln P along a speed-power curve, about; see `curve.speed_power.SLOPE`."""

CUBE = 3.0
"""Exponent of a propeller's power over revs (propeller law): the most that a voltage does."""

TREND_BLOCKS_LEAST = 12
"""Blocks from which a trend counts."""

BLEND = 4
"""Exponent with which a throttle's scatter turns from staying to moved."""

VAGUE_SD = 1e3
"""Standard deviation of an exponent from which a trend says nothing."""

LEAST, LEAST_SQUARES = 1e-9, 1e-12
"""Floors of divisors: of slopes, and of squared residuals."""


@dataclass(frozen=True)
class Sag:
    """How power and speed follow the voltage.

    Parameters
    ----------
    by_volts, sd
        d ln P / d ln V and its standard deviation.
    of_speed
        d ln v / d ln P.
    """

    by_volts: float
    sd: float
    of_speed: float = OF_SPEED


NO_SAG = Sag(0.0, 0.0)


def sag(blocks: FloatArray, leg: Indices) -> Sag:
    """Return how power follows the voltage over blocks ridden alike.

    Parameters
    ----------
    blocks
        As in `ridden_blocks`, shape (n, 7).
    leg
        The number of each block's leg, shape (n,).
    """
    exponent, sd = _by_throttle(blocks[:, THROTTLE])
    seen = _by_trends(blocks, leg)
    if seen is not None:
        share = sd**2 / (sd**2 + seen[1] ** 2)
        exponent += share * (seen[0] - exponent)
        sd *= (1.0 - share) ** 0.5
    return Sag(min(max(exponent, 0.0), CUBE), sd)


def _by_throttle(throttle: FloatArray) -> tuple[float, float]:
    """Return the exponent that the throttle channel suggests, and its standard deviation."""
    known = throttle[np.isfinite(throttle)]
    least = max(THROTTLE_KNOWN_SHARE * len(throttle), THROTTLE_BLOCKS_LEAST)
    if len(known) < least or known.mean() <= 0:
        return SAG_OF_UNKNOWN_THROTTLE
    scatter = float(known.std()) / (THROTTLE_STEADY_SD * float(known.mean()))
    # From the one to the other without a jump.
    stays = 1.0 / (1.0 + scatter**BLEND)
    mean, moved_mean = SAG_OF_STEADY_THROTTLE[0], SAG_OF_MOVED_THROTTLE[0]
    variance = stays * SAG_OF_STEADY_THROTTLE[1] ** 2 + (1 - stays) * SAG_OF_MOVED_THROTTLE[1] ** 2
    variance += stays * (1 - stays) * (mean - moved_mean) ** 2
    return stays * mean + (1 - stays) * moved_mean, variance**0.5


def _by_trends(blocks: FloatArray, leg: Indices) -> tuple[float, float] | None:
    """Return the trends' exponent and its standard deviation; None where they say nothing."""
    if len(blocks) < TREND_BLOCKS_LEAST:
        return None
    power, power_sd = _trend(ln_power(blocks), leg)
    volts, _ = _trend(np.log(blocks[:, VOLTS]), leg)
    sd = power_sd / max(-volts, LEAST)
    return (power / volts, sd) if volts < 0 and sd < VAGUE_SD else None


def _trend(values: FloatArray, leg: Indices) -> tuple[float, float]:
    """Return the slope per block about the legs' means, and its standard deviation.

    That of least squares, with the sample worth n (1 - r) / (1 + r) where residuals have the
    first-order autocorrelation r.
    """
    count = np.bincount(leg)
    dx = np.arange(float(len(values)))
    dx -= (np.bincount(leg, dx) / count)[leg]
    dy = values - (np.bincount(leg, values) / count)[leg]
    squares = max(float(dx @ dx), LEAST)
    slope = float(dx @ dy) / squares
    residual = dy - slope * dx
    variance = (float(residual @ residual) + RIDING_SD_FRACTION**2) / len(values)
    lagged = float(residual[1:] @ residual[:-1]) / max(float(residual @ residual), LEAST_SQUARES)
    correlation = min(max(lagged, 0.0), TREND_CORRELATION_MOST)
    return slope, (variance * (1 + correlation) / (1 - correlation) / squares) ** 0.5
