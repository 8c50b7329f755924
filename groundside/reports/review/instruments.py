"""Instruments in a saved log that cannot be right: what they say contradicts the ride itself."""

import math
from collections.abc import Iterator

import numpy as np

from groundside.reports.review.review_practice import (
    COURSE_FROM_MPS,
    LEG_M,
    MOVED_LEAST_S,
    STEPS_FROM_A,
    TURNED_DEG,
    VOLTAGE_LEAST_S,
)
from onboard.block import Block, Channel, FloatArray
from onboard.contract.figure import Number, Unknown
from onboard.contract.log_remarks import LogRemark, LogRemarkCode
from onboard.efficiency.meters.geodesy import local_offset_m
from onboard.efficiency.sources.speed_sources import FIX_NEEDED


class Span:
    """The range of a column's known values, and the seconds in which they came."""

    def __init__(self) -> None:
        self.low, self.high = math.inf, -math.inf
        self.seconds = 0
        self._last = -math.inf

    def fold(self, t_s: FloatArray, values: FloatArray) -> None:
        """Fold in samples, in order of time."""
        known = np.isfinite(values)
        if not known.any():
            return
        values = values[known]
        seconds = np.maximum.accumulate(np.append(self._last, np.floor(t_s[known])))
        self.low = min(self.low, float(values.min()))
        self.high = max(self.high, float(values.max()))
        self.seconds += int(np.count_nonzero(seconds[1:] > seconds[:-1]))
        self._last = float(seconds[-1])


class Instruments:
    """Gather what the instruments of a log say while it is read."""

    def __init__(self) -> None:
        self._power = {name: (Span(), Span()) for name in ("power", "battery")}
        """Voltage and current of each channel that states them."""
        self._speed, self._course, self._fixed, self._located = Span(), Span(), Span(), Span()
        self._directed = False
        self._legs = _Legs()

    def fold(self, block: Block) -> None:
        """Fold in the next block."""
        for name, (volts, amps) in self._power.items():
            if (power := block.get(name)) is not None:
                volts.fold(power.t_s, power["volts_v"])
                amps.fold(power.t_s, power["amps_a"])
        if (gps := block.get("gps")) is not None:
            self._fold_gps(gps)
        if (fused := block.get("fused")) is not None:
            self._directed |= bool(np.isfinite(fused["north_mps"]).any())

    def _fold_gps(self, gps: Channel) -> None:
        has_fix = np.flatnonzero(gps["fix"] >= FIX_NEEDED)
        t_s, latitude = gps.t_s[has_fix], gps["latitude_deg"][has_fix]
        self._fixed.fold(t_s, np.zeros(len(t_s)))
        self._located.fold(t_s, latitude)
        fast = np.flatnonzero(gps["speed_mps"] > COURSE_FROM_MPS)
        self._speed.fold(gps.t_s[fast], gps["speed_mps"][fast])
        self._course.fold(gps.t_s[fast], gps["course_deg"][fast])
        self._legs.fold(latitude, gps["longitude_deg"][has_fix])

    def current_is_dead(self, moving_s: Number) -> bool:
        """Return whether the current stayed at zero although the craft moved.

        Parameters
        ----------
        moving_s
            Time under way [s].
        """
        moved = not isinstance(moving_s, Unknown) and moving_s >= MOVED_LEAST_S
        stated = [amps for _, amps in self._power.values() if amps.seconds]
        return moved and bool(stated) and all(amps.low == amps.high == 0.0 for amps in stated)

    def remarks(self, moving_s: Number) -> Iterator[LogRemark]:
        """Yield what cannot be right; `moving_s` as above."""
        if self.current_is_dead(moving_s):
            yield LogRemark(LogRemarkCode.CURRENT_DEAD)
        stated = [one for one in self._power.values() if one[0].seconds]
        if stated and all(_stuck(volts, amps) for volts, amps in stated):
            volts, amps = stated[0]
            yield LogRemark(
                LogRemarkCode.VOLTAGE_STUCK, volts_v=volts.low, change_a=amps.high - amps.low
            )
        if self._speed.seconds >= MOVED_LEAST_S:
            if not self._course.seconds:
                if not self._directed:
                    yield LogRemark(LogRemarkCode.COURSE_MISSING)
            elif self._course.low == self._course.high and self._legs.turned:
                yield LogRemark(LogRemarkCode.COURSE_STUCK, course_deg=self._course.low)
        if self._fixed.seconds >= MOVED_LEAST_S and not self._located.seconds:
            yield LogRemark(LogRemarkCode.POSITION_ZERO)


def _stuck(volts: Span, amps: Span) -> bool:
    """Return whether a voltage stayed the same although the current changed."""
    changed = amps.high - amps.low >= STEPS_FROM_A
    return volts.low == volts.high and volts.seconds >= VOLTAGE_LEAST_S and changed


class _Legs:
    """The directions in which positions moved, leg by leg."""

    def __init__(self) -> None:
        self._from: tuple[float, float] | None = None
        self._first_deg: float | None = None
        self.turned = False
        """Whether two legs differ in direction by `TURNED_DEG`."""

    def fold(self, latitude_deg: FloatArray, longitude_deg: FloatArray) -> None:
        """Fold in positions, in order."""
        known = np.flatnonzero(np.isfinite(latitude_deg) & np.isfinite(longitude_deg))
        latitude_deg, longitude_deg = latitude_deg[known], longitude_deg[known]
        while len(latitude_deg) and not self.turned:
            if self._from is None:
                self._from = float(latitude_deg[0]), float(longitude_deg[0])
            east, north = local_offset_m(*self._from, latitude_deg, longitude_deg)
            far = np.flatnonzero(np.hypot(east, north) >= LEG_M)
            if not len(far):
                return
            end = int(far[0])
            direction_deg = math.degrees(math.atan2(float(east[end]), float(north[end])))
            if self._first_deg is None:
                self._first_deg = direction_deg
            off_deg = abs((direction_deg - self._first_deg + 180.0) % 360.0 - 180.0)
            self.turned = off_deg >= TURNED_DEG
            self._from = float(latitude_deg[end]), float(longitude_deg[end])
            latitude_deg, longitude_deg = latitude_deg[end:], longitude_deg[end:]
