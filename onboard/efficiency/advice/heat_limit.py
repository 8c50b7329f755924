"""A motor drive that cuts back for heat: it passes on less power than throttle and voltage explain.

What throttle and voltage explain. A drive puts the share of the battery's voltage V that the
throttle d sets on the motor, whose revs follow; a propeller's power goes with the cube of its revs
where the craft has settled to them. So P goes with (d V)^3, less the share of the winding's
resistance, which makes it a little flatter; and flatter still with a hotel load, or with a drive
whose throttle is a current (d^1.5) or a power (d). The cube is the most that an easing explains. An
opening is taken to explain nothing: then a drive of any kind gives at least as much as before.

The throttle is stated in whole per cent, so it may have moved by one without showing it.

What else lowers the power at a throttle: a wind that drops or comes from astern. The propeller then
advances further each turn and takes less torque, but the craft gets faster, whereas one whose drive
cuts back gets slower. On another course the speed over ground says nothing, as the water carries
the craft differently: only minutes on a like course are compared.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.alert_practice import (
    HEAT_COURSE_DEG,
    HEAT_EASED_FRACTION,
    HEAT_HELD_SD_FRACTION,
    HEAT_LIMIT_POWER_FRACTION,
    HEAT_LOOK_BACK_S,
    HEAT_THROTTLE_LEAST,
)
from onboard.efficiency.sources.settled_seconds import SettledSeconds

PIECE_S = 30
"""Pieces begin at whole multiples of this stream time [s]; two of them are compared with two."""

THROTTLE_STEP = 0.01
"""Resolution of the throttle: VFR_HUD states it in per cent (MAVLink, common message set)."""


@dataclass(frozen=True)
class _Minute:
    """Means over a minute."""

    power_w: float
    volts_v: float
    throttle: float
    east_mps: float
    north_mps: float

    @property
    def speed_mps(self) -> float:
        return float(np.hypot(self.east_mps, self.north_mps))


class HeatLimit:
    """Compare each minute with those of the last ten: has the drive cut back?"""

    def __init__(self) -> None:
        self._rows = np.empty((0, 6))
        self._minutes: deque[_Minute | None] = deque(maxlen=HEAT_LOOK_BACK_S // PIECE_S)

    def fold(self, seconds: SettledSeconds) -> list[tuple[float, bool]]:
        """Fold in settled seconds; return the times [s] at which it was judged, and how."""
        names = ("t_s", "power_w", "volts_v", "throttle_fraction", "east_mps", "north_mps")
        new = np.stack([getattr(seconds, name) for name in names], axis=1)
        rows = np.concatenate([self._rows, new])
        first_new = len(rows) - len(new)
        self._rows = rows[-2 * PIECE_S + 1 :]
        judged = []
        for end in (np.flatnonzero(rows[first_new:, 0] % PIECE_S == 0) + first_new + 1).tolist():
            minute = _minute(rows[max(end - 2 * PIECE_S, 0) : end])
            judged.append((float(rows[end - 1, 0]), self._limits(minute)))
            self._minutes.append(minute)
        return judged

    def _limits(self, now: _Minute | None) -> bool:
        """Return whether a minute shows less power than an earlier one, unexplained."""
        if now is None or now.throttle < HEAT_THROTTLE_LEAST:
            return False
        return any(was is not None and _cut_back(was, now) for was in self._minutes)


def _minute(rows: FloatArray) -> _Minute | None:
    """Return the means of a minute; None unless it is known throughout and its throttle is held.

    The mean of a cube is that of the means only if what is cubed hardly varies.
    """
    if len(rows) < 2 * PIECE_S or not np.isfinite(rows).all():
        return None
    throttle = rows[:, 3]
    if throttle.std() > HEAT_HELD_SD_FRACTION * throttle.mean():
        return None
    return _Minute(*rows[:, 1:].mean(axis=0).tolist())


def _cut_back(was: _Minute, now: _Minute) -> bool:
    """Return whether the drive gives less now than throttle and voltage explain."""
    eased = (now.throttle - THROTTLE_STEP / 2) / (was.throttle + THROTTLE_STEP / 2)
    if now.throttle < (1.0 - HEAT_EASED_FRACTION) * was.throttle or was.power_w <= 0:
        return False
    explained = min(eased * now.volts_v / was.volts_v, 1.0) ** 3
    if now.power_w > (1.0 - HEAT_LIMIT_POWER_FRACTION) * explained * was.power_w:
        return False
    along = was.east_mps * now.east_mps + was.north_mps * now.north_mps
    like = np.cos(np.radians(HEAT_COURSE_DEG)) * was.speed_mps * now.speed_mps
    return bool(along > like) and now.speed_mps < was.speed_mps
