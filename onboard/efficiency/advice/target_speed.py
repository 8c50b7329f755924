"""The highest speed that still covers a distance, and the cue to it.

'Covers' means at `CONFIDENCE_FRACTION`, without drawing on the reserve. The cue has hysteresis, so
that waves do not make it flicker.
"""

import numpy as np

from onboard.contract.advice import Cue
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.advice.speeds_ahead import SpeedsAhead
from onboard.efficiency.common_practice import (
    EASE_ABOVE,
    EASE_UNTIL,
    PUSH_BELOW,
    PUSH_UNTIL,
    SURE_AGAIN_FRACTION,
    UNTRIED_SPEED_FRACTION,
)

CONFIDENCE_FRACTION = 0.99
"""Confidence that a distance is covered without drawing on the reserve."""

SURE_SD = 2.326348
"""99 % quantile of the normal distribution (tables)."""

PUSH_PAST = 1.02
"""Factor on the present speed beyond which a faster one is another speed."""


@dataclass(frozen=True)
class Advised:
    """The speed to ride for a distance.

    Parameters
    ----------
    speed_mps
        Over ground; unknown where no learned speed surely covers the distance.
    best_speed_mps, best_m
        The speed with the longest sure range, and that range.
    try_mps
        The speed to hold where none is sure: the best, or if that is the slowest learned, a little
        less, which the curve then learns.
    """

    speed_mps: Number
    best_speed_mps: float
    best_m: float
    try_mps: float

    @property
    def hold_mps(self) -> float:
        """The speed to hold."""
        return self.try_mps if isinstance(self.speed_mps, Unknown) else self.speed_mps


def advised_speed(ahead: SpeedsAhead, distance_m: float) -> Advised:
    """Return the highest speed that covers a distance [m] with `CONFIDENCE_FRACTION`."""
    surely, speeds = ahead.ranges.at(-SURE_SD), ahead.speed_mps
    surest = int(np.argmax(surely))
    best_speed, best_m = float(speeds[surest]), float(surely[surest])
    slower = best_speed * (UNTRIED_SPEED_FRACTION if surest == 0 else 1.0)
    enough = np.flatnonzero(surely >= distance_m)
    if not len(enough):
        return Advised(Unknown(Reason.CANNOT_BE_MADE), best_speed, best_m, slower)
    last = int(enough[-1])
    speed = float(speeds[last])
    if last + 1 < len(surely):
        # Interpolate to where the distance is just sure.
        part = (surely[last] - distance_m) / (surely[last] - surely[last + 1])
        speed += float(part) * float(speeds[last + 1] - speed)
    return Advised(speed, best_speed, best_m, slower)


class DistanceCue:
    """The cue for a distance: 'hold' while it is sure at the present speed."""

    def __init__(self) -> None:
        self._is_sure = True
        self._eased = False

    def keep(self, cue: Cue | Unknown) -> None:
        """Remember the cue given."""
        self._is_sure = cue == "hold"
        self._eased = cue == "ease"

    def cue(
        self, chance: float, now_mps: float, advised: Advised, best_mps: float
    ) -> Cue | Unknown:
        """Return the cue; unknown where the distance is not sure, yet no other speed is better.

        'Push' only below the speed of the longest range, where going slowly is what endangers it:
        hotel load, foul water current.
        """
        if chance >= (CONFIDENCE_FRACTION if self._is_sure else SURE_AGAIN_FRACTION):
            return "hold"
        if now_mps * PUSH_PAST < min(advised.hold_mps, best_mps):
            return "push"
        if not isinstance(advised.speed_mps, Unknown):
            return "ease"
        # where no speed is sure, only a clearly slower one is another speed
        too_fast = 1.0 + (EASE_UNTIL if self._eased else EASE_ABOVE)
        return "ease" if now_mps > too_fast * advised.hold_mps else Unknown(Reason.CANNOT_BE_MADE)


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
