"""The highest speed that still covers a distance, and the cue to hold it.

The distance is covered without drawing on the reserve, at a stated confidence. The cue has
hysteresis and follows the mean of the last seconds, so that waves do not make it flicker.
"""

from dataclasses import dataclass

import numpy as np

from onboard.contract.advice import Cue
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.outlook import Outlook, likelihood
from onboard.efficiency.common_practice import (
    EASE_ABOVE,
    EASE_UNTIL,
    PUSH_BELOW,
    PUSH_UNTIL,
    UNTRIED_SPEED_FRACTION,
)

CONFIDENCE_FRACTION = 0.99
"""Confidence that a distance is covered without drawing on the reserve."""

SURE_SD = 2.326348
"""99 % quantile of the normal distribution (tables)."""


@dataclass(frozen=True)
class Advised:
    """The speed to ride for a distance.

    Parameters
    ----------
    speed_mps
        Over ground; unknown where no speed covers the distance.
    best_speed_mps, best_m
        The speed with the largest margin, and its range at that confidence.
    """

    speed_mps: Number
    best_speed_mps: float
    best_m: float


def advised_speed(ahead: Outlook, distance_m: float) -> Advised:
    """Return the highest speed that covers a distance [m] with `CONFIDENCE_FRACTION`."""
    _, margin, sd = ahead.margin(distance_m)
    surely = margin - SURE_SD * sd
    furthest_m = ahead.range_m - SURE_SD * np.sqrt(ahead.range_variance_m2())
    # If no speed covers it: the one with the largest margin, hardly below the speeds seen.
    tried = ahead.speed_mps[ahead.seen]
    slowest = UNTRIED_SPEED_FRACTION * float(tried[0]) if len(tried) else 0.0
    best = int(np.argmax(np.where(ahead.speed_mps >= slowest, margin, -np.inf)))
    enough = np.flatnonzero(surely >= 0)
    best_speed, best_m = float(ahead.speed_mps[best]), max(float(furthest_m[best]), 0.0)
    if not len(enough):
        return Advised(Unknown(Reason.CANNOT_BE_MADE), best_speed, best_m)
    last = int(enough[-1])
    speed = float(ahead.speed_mps[last])
    if last + 1 < len(surely):
        # Interpolate to where the margin vanishes.
        part = float(surely[last] / (surely[last] - surely[last + 1]))
        speed += part * float(ahead.speed_mps[last + 1] - speed)
    return Advised(speed, best_speed, best_m)


def chance_at(ahead: Outlook, distance_m: float, speed_mps: float) -> float:
    """Return the probability that a speed covers a distance without drawing on the reserve."""
    _, margin, sd = ahead.margin(distance_m)
    speeds = ahead.speed_mps
    here, spread = np.interp(speed_mps, speeds, margin), np.interp(speed_mps, speeds, sd)
    return likelihood(float(here), float(spread))


class CueKeeper:
    """Hysteresis of the cue: it changes only when the difference clearly calls for another."""

    def __init__(self) -> None:
        self.cue: Cue = "hold"

    def fold(self, difference_fraction: float) -> Cue:
        """Fold in the relative difference from the target; return the cue."""
        limits = {
            "ease": (EASE_UNTIL, PUSH_BELOW),
            "hold": (EASE_ABOVE, PUSH_BELOW),
            "push": (EASE_ABOVE, PUSH_UNTIL),
        }
        ease_above, push_below = limits[self.cue]
        if difference_fraction > ease_above:
            self.cue = "ease"
        elif difference_fraction < push_below:
            self.cue = "push"
        else:
            self.cue = "hold"
        return self.cue
