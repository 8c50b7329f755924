"""How the power of a riding follows the voltage as the pack empties.

A rider who holds a power or a speed draws the same at any voltage: d ln P / d ln V = 0. A throttle
held as a duty gives the motor a share of the pack's voltage; revs go about with it and a
propeller's power with their cube, so the exponent is between 2 and 3. A throttle held as a motor
current holds the torque, and hardly depends on the voltage. What is held is told by the throttle
channel, where there is one, and by the trend of power over that of the voltage.

The trends are compared, not the blocks: within seconds voltage sags because power rises, which is
the other way round.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.efficiency.riding.common_practice import (
    RIDING_SD_FRACTION,
    SAG_OF_MOVED_THROTTLE,
    SAG_OF_STEADY_THROTTLE,
    SAG_OF_UNKNOWN_THROTTLE,
    THROTTLE_STEADY_SD,
)

OF_SPEED = 0.35
"""d ln v / d ln P along a speed-power curve, about; see `curve.speed_power.SLOPE`."""

POWER, VOLTS, THROTTLE = 0, 2, 5

TREND_BLOCKS_LEAST = 12


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


def sag(blocks: FloatArray, leg: npt.NDArray[np.int64]) -> Sag:
    """Return how power follows the voltage over blocks ridden alike.

    Parameters
    ----------
    blocks
        As in `present_riding`, shape (n, 7).
    leg
        The number of each block's leg, shape (n,).
    """
    mean, sd = _prior(blocks[:, THROTTLE])
    if len(blocks) >= TREND_BLOCKS_LEAST:
        power = _trend(np.log(np.maximum(blocks[:, POWER], 1e-3)), leg)
        volts, _ = _trend(np.log(blocks[:, VOLTS]), leg)
        seen = power[1] / max(abs(volts), 1e-9)
        if volts < 0 and seen < 1e3:
            share = sd**2 / (sd**2 + seen**2)
            mean += share * (power[0] / volts - mean)
            sd *= (1.0 - share) ** 0.5
    return Sag(min(max(mean, 0.0), 3.0), sd)


def _prior(throttle: FloatArray) -> tuple[float, float]:
    known = throttle[np.isfinite(throttle)]
    if len(known) < max(0.8 * len(throttle), 3) or known.mean() <= 0:
        return SAG_OF_UNKNOWN_THROTTLE
    if float(known.std()) < THROTTLE_STEADY_SD * float(known.mean()):
        return SAG_OF_STEADY_THROTTLE
    return SAG_OF_MOVED_THROTTLE


def _trend(values: FloatArray, leg: npt.NDArray[np.int64]) -> tuple[float, float]:
    """Return the slope per block about the legs' means, and its standard deviation."""
    count = np.bincount(leg)
    at = np.arange(float(len(values)))
    at -= (np.bincount(leg, at) / count)[leg]
    off = values - (np.bincount(leg, values) / count)[leg]
    square = max(float(at @ at), 1e-9)
    slope = float(at @ off) / square
    residual = off - slope * at
    variance = (float(residual @ residual) + RIDING_SD_FRACTION**2) / len(values)
    memory = float(residual[1:] @ residual[:-1]) / max(float(residual @ residual), 1e-12)
    memory = min(max(memory, 0.0), 0.9)
    return slope, (variance * (1 + memory) / (1 - memory) / square) ** 0.5
