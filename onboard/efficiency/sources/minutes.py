"""Minutes of steady riding, to be compared with one another: means of power, speed and hand."""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.alert_practice import HELD_SD_FRACTION
from onboard.efficiency.sources.settled_seconds import Reading, SettledSeconds

EVERY_S = 10
"""Minutes end at whole multiples of this stream time [s]: each overlaps its neighbours."""

MINUTE_S = 60

THROTTLE_STEP = 0.01
"""Resolution of the throttle: VFR_HUD states it in per cent (MAVLink, common message set)."""

REVS: tuple[Reading, ...] = (("drive", "erpm"), ("drive", "rpm"))
"""Columns of the revolutions, in order of preference: they are only compared with themselves."""

NAMES = "t_s", "power_w", "volts_v", "east_mps", "north_mps", "throttle_fraction"

WHOLE = 4
"""Columns after the time that must be known throughout."""


@dataclass(frozen=True)
class Minute:
    """Means over a minute.

    Parameters
    ----------
    t_s
        Stream time at its end [s].
    power_w, volts_v, east_mps, north_mps
        As in settled seconds.
    throttle, revs
        NaN if unknown, or if not held.
    """

    t_s: float
    power_w: float
    volts_v: float
    east_mps: float
    north_mps: float
    throttle: float
    revs: float

    @property
    def speed_mps(self) -> float:
        """Speed over ground."""
        return math.hypot(self.east_mps, self.north_mps)

    def is_on_course_of(self, other: "Minute", within_deg: float) -> bool:
        """Return whether both have like courses; false at rest."""
        along = self.east_mps * other.east_mps + self.north_mps * other.north_mps
        return along > math.cos(math.radians(within_deg)) * self.speed_mps * other.speed_mps


class Minutes:
    """Cut minutes from settled seconds."""

    def __init__(self) -> None:
        self._rows = np.empty((0, len(NAMES) + 1))

    def fold(self, seconds: SettledSeconds) -> list[tuple[float, Minute | None]]:
        """Fold in settled seconds; return each minute with its end [s], None if not all known."""
        columns = [getattr(seconds, name) for name in NAMES]
        unknown = np.full(len(seconds), np.nan)
        electrical, shaft = (seconds.readings.get(reading, unknown) for reading in REVS)
        revs = np.where(np.isfinite(electrical), electrical, shaft)
        new = np.stack([*columns, revs], axis=1)
        rows = np.concatenate([self._rows, new])
        first_new = len(rows) - len(new)
        self._rows = rows[-MINUTE_S + 1 :]
        ends = np.flatnonzero(rows[first_new:, 0] % EVERY_S == 0) + first_new + 1
        young = [(float(rows[end - 1, 0]), None) for end in ends[ends < MINUTE_S].tolist()]
        whole = ends[ends >= MINUTE_S]
        return [*young, *_minutes(rows[whole[:, None] + np.arange(-MINUTE_S, 0)])]


def _minutes(windows: FloatArray) -> list[tuple[float, Minute | None]]:
    """Return the minutes of windows of rows, shape (n, 60, 7), each with its end."""
    values = windows[:, :, 1:]
    known = np.isfinite(values[:, :, :WHOLE].sum(axis=(1, 2)))
    means = values.mean(axis=1)
    hand = means[:, WHOLE:]
    # Powers go with its cube, and the mean of a cube is that of the means only if it hardly varies.
    hand[values[:, :, WHOLE:].std(axis=1) > HELD_SD_FRACTION * hand] = np.nan
    ends = windows[:, -1, 0].tolist()
    return [
        (t_s, Minute(t_s, *row) if whole else None)
        for t_s, row, whole in zip(ends, means.tolist(), known.tolist(), strict=True)
    ]
