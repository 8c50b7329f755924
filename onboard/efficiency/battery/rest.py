"""Rests of the pack, during which its voltage is nearly its open-circuit voltage."""

import math
from collections import deque

from onboard.dataclass import dataclass
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
    """A rest: mean voltage and current of its last seconds.

    Parameters
    ----------
    volts_v, amps_a
        Of the pack.
    sd_v
        Standard deviation of a cell's voltage about its settled value.
    charge_ah, t_s
        Charge drawn [Ah] and stream time [s] at the newest second.
    """

    volts_v: float
    amps_a: float
    sd_v: float
    """Of one cell."""
    charge_ah: float
    t_s: float


class RestFinder:
    """Find rests, second by second.

    Parameters
    ----------
    full_ah
        Charge when full [Ah].
    loaded
        Whether the pack may have been under load just before, unlike at power-on.
    """

    def __init__(self, full_ah: float, loaded: bool = False) -> None:
        self._light_a = REST_CURRENT_PER_H * full_ah
        self.loaded_before = loaded
        self._begin_s: float | None = None
        self._loaded = loaded
        self._last_s: float | None = None
        self._now: Rested | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=REST_MEAN_S)

    def fold(self, t_s: float, volts_v: float, amps_a: float, charge_ah: float) -> Rested | None:
        """Fold in a second; return the rest it belongs to, None while the pack is under load."""
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
