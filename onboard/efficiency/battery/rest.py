"""Times at which a pack rests: then its voltage is its open-circuit voltage, nearly."""

import math
from collections import deque
from dataclasses import dataclass

LIGHT_RATE = 0.04
"""A current below this share of the capacity an hour is as good as none (C/25): instruments and
lights, which some craft cannot switch off. What it costs in volts is allowed for by the caller."""

UNSEEN_S = 10.0
"""After so long without a reading a load may have come and gone."""

REST_S = 180.0
AVERAGED_S = 30
FIRST_S = 10
"""A pack is taken as rested when the stream begins: nobody rode before power-on. So many seconds of
it are looked at, as long as nothing is drawn."""

FIRST_SD_V, LASTING_SD_V, FADING_SD_V, FADING_S = 0.008, 0.004, 0.02, 600.0
"""How far a cell's voltage is from its settled one: at power-on; after hours; right after a load,
fading with this time constant. Common practice, no source."""


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
        self._light_a = LIGHT_RATE * full_ah
        self.loaded_before = loaded
        self._begin_s: float | None = None
        self._loaded = loaded
        self._last_s: float | None = None
        self._now: Rested | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=AVERAGED_S)

    def take(self, t_s: float, volts_v: float, amps_a: float, charge_ah: float) -> Rested | None:
        """Take in a second; give the rest that it belongs to, None while the pack is at work."""
        seen = not (math.isnan(volts_v) or math.isnan(amps_a))
        silent_s = 0.0 if self._last_s is None else t_s - self._last_s
        if (seen and abs(amps_a) > self._light_a) or silent_s > UNSEEN_S:
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
            if lasted_s < REST_S:
                return None
            sd = LASTING_SD_V + FADING_SD_V * math.exp(-lasted_s / FADING_S)
        elif len(self._recent) < FIRST_S:
            return None
        else:
            sd = FIRST_SD_V
        count = len(self._recent)
        volts = sum(pair[0] for pair in self._recent) / count
        amps = sum(pair[1] for pair in self._recent) / count
        self._now = Rested(volts, amps, sd, charge_ah, t_s)
        return self._now
