"""Times at which a pack rests: then its voltage is its open-circuit voltage, nearly."""

import math
from collections import deque
from dataclasses import dataclass

from onboard.efficiency.common_practice import (
    AFTER_LOAD_SD_V,
    LONG_REST_SD_V,
    POWER_ON_REST_S,
    POWER_ON_REST_SD_V,
    RELAXATION_S,
    REST_AFTER_LOAD_S,
    REST_CURRENT_PER_H,
    REST_GAP_MOST_S,
    REST_MEAN_S,
)


@dataclass(frozen=True)
class Rested:
    """A rested pack: mean current and voltage of its last seconds, and when."""

    volts_v: float
    amps_a: float
    sd_v: float
    """Of one cell."""
    charge_ah: float
    t_s: float


class RestFinder:
    """Finds rests, second by second.

    Parameters
    ----------
    full_ah
        Charge when full [Ah].
    loaded
        Whether the pack may just have been at work: not so at power-on.
    """

    def __init__(self, full_ah: float, loaded: bool = False) -> None:
        self._light_a = REST_CURRENT_PER_H * full_ah
        self.loaded_before = loaded
        self._begin_s: float | None = None
        self._loaded = loaded
        self._last_s: float | None = None
        self._now: Rested | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=REST_MEAN_S)

    def take(self, t_s: float, volts_v: float, amps_a: float, charge_ah: float) -> Rested | None:
        """Take in a second; give the rest that it belongs to, None while the pack is at work."""
        seen = not (math.isnan(volts_v) or math.isnan(amps_a))
        silent_s = 0.0 if self._last_s is None else t_s - self._last_s
        if (seen and abs(amps_a) > self._light_a) or silent_s > REST_GAP_MOST_S:
            self._loaded, self._begin_s, self._now = True, None, None
            self._recent.clear()
        if not seen:
            return self._now
        self._last_s = t_s
        if abs(amps_a) > self._light_a:
            return None
        if self._begin_s is None:
            self._begin_s = t_s
        self._recent.append((volts_v, amps_a))
        lasted_s = t_s - self._begin_s
        if self._loaded:
            if lasted_s < REST_AFTER_LOAD_S:
                return None
            sd = LONG_REST_SD_V + AFTER_LOAD_SD_V * math.exp(-lasted_s / RELAXATION_S)
        elif len(self._recent) < POWER_ON_REST_S:
            return None
        else:
            sd = POWER_ON_REST_SD_V
        count = len(self._recent)
        volts = sum(pair[0] for pair in self._recent) / count
        amps = sum(pair[1] for pair in self._recent) / count
        self._now = Rested(volts, amps, sd, charge_ah, t_s)
        return self._now
