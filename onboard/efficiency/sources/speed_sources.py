"""The sources of velocity over ground, and which of them the figures are based on.

A source that falls silent leaves the speed unknown meanwhile: the others' reports are guesses, and
the gap is bridged by positions once it is back. Another source replaces it after covering twice
its time, or when the rider marks it as unplugged.
"""

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.efficiency.common_practice import (
    BRIEF_S,
    NOTICE_S,
    SPEED_COVERAGE_FRACTION,
    SPEED_SD_MOST_MPS,
    STALE_READING_S,
    STRAY_S,
)
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.source_rules import Coverage, covered_s, is_brief

FIX_NEEDED = 3
"""A three-dimensional fix (MAVLink GPS_FIX_TYPE): with less the receiver's speed is not trusted."""

NAMES = {"gps": "GPS receiver", "fused": "fused velocity", "hud": "display speed"}
"""Name of each source, in order of preference."""


class SpeedSources:
    """Receiver Doppler velocity, autopilot's fused velocity, its display speed: in that order."""

    def __init__(self) -> None:
        self._meters = {name: DistanceMeter() for name in ("gps", "fused", "hud")}
        self._receiver = Coverage()
        """Messages of the receiver, with or without a fix."""
        self._fix_s = np.inf
        """Stream time of the first fix [s]."""
        self._unplugged: dict[str, tuple[float, float]] = {}
        """When a source was marked as unplugged, and the time it had covered [s]."""
        self._course_rad = 0.0

    def fold(self, block: Block) -> None:
        """Fold a block's `gps`, `fused` and `hud` channels."""
        if gps := block.get("gps"):
            self._fold_gps(gps)
        if fused := block.get("fused"):
            self._meters["fused"].fold(
                fused.t_s,
                fused["east_mps"],
                fused["north_mps"],
                fused["latitude_deg"],
                fused["longitude_deg"],
            )
        if hud := block.get("hud"):
            nowhere = np.full(len(hud), np.nan)
            # It has no course: assume a constant one.
            still = np.where(hud["speed_mps"] >= 0, 0.0, np.nan)
            self._meters["hud"].fold(hud.t_s, still, hud["speed_mps"], nowhere, nowhere)

    def chosen(self, at_s: float | None = None) -> DistanceMeter | None:
        """Return the meter that the figures are based on, None if no velocity is known.

        Parameters
        ----------
        at_s
            Judged by the time covered up to this stream time [s]; None for up to now.
        """
        covered = {
            name: covered_s(meter.displacement, at_s) for name, meter in self._meters.items()
        }
        if self._without_fix(at_s, max(covered.values())):
            # Any other speed is then a zero that was not measured.
            return None
        gone = {name for name in self._unplugged if self._is_gone(name, at_s)}
        most_s = max((covered[name] for name in covered if name not in gone), default=0.0)
        for name, meter in self._meters.items():
            if name in gone:
                continue
            first_s = meter.displacement.first_s
            if first_s is None or (at_s is not None and first_s > at_s):
                continue
            if covered[name] >= SPEED_COVERAGE_FRACTION * most_s:
                return meter
        return None

    def reached_s(self) -> list[float]:
        """Return the stream time up to which each source's track is settled [s]."""
        meters = self._meters.values()
        return [m.track.settled_s for m in meters if m.displacement.last_s is not None]

    def why_none(self) -> Reason:
        """Return the reason for having no meter to choose."""
        if np.isfinite(self._fix_s):
            return Reason.NO_SPEED_REPORTED
        if self._without_fix(None, self._most_s(None)):
            return Reason.NO_FIX
        return Reason.NO_GPS

    @property
    def only_display(self) -> bool:
        """Whether the display speed, which has no course, is the only source."""
        return self.chosen() is self._meters["hud"]

    @property
    def several(self) -> bool:
        """Whether more than one source that is not brief gave a speed."""
        active = (m for m in self._meters.values() if m.displacement.last_s is not None)
        return (
            sum(not self._is_brief(covered_s(meter.displacement, None), None) for meter in active)
            > 1
        )

    def name_of(self, meter: DistanceMeter) -> str:
        """Return the name of a source."""
        return next(NAMES[name] for name, candidate in self._meters.items() if candidate is meter)

    def brief(self, t_s: float) -> tuple[str, ...]:
        """Return the sources seen only briefly, and lately, as of a stream time [s]."""
        found = []
        receiver_s = self._receiver.last_before(t_s)
        brief = self._is_brief(self._receiver.covered_s(t_s), t_s)
        if brief and 0 <= t_s - receiver_s < NOTICE_S:
            found.append(NAMES["gps"])
        for name in ("fused", "hud"):
            curves = self._meters[name].displacement
            first_s, last_s = curves.first_s, curves.last_before(t_s)
            if first_s is None or last_s is None or t_s - last_s >= NOTICE_S:
                continue
            if last_s - first_s < STRAY_S and self._is_brief(covered_s(curves, t_s), t_s):
                found.append(NAMES[name])
        return tuple(found)

    def unplug(self, source: str, now_s: float) -> Refusal | None:
        """Leave a source out until it is active again; return a refusal, None when done."""
        name = next(key for key, called in NAMES.items() if called == source)
        last_s = self._meters[name].displacement.last_s
        if last_s is None:
            return Refusal(RefusalCode.NEVER_HEARD, source=source)
        if now_s - last_s <= STALE_READING_S:
            return Refusal(RefusalCode.STILL_HEARD, source=source)
        self._unplugged[name] = now_s, covered_s(self._meters[name].displacement, None)
        return None

    def _without_fix(self, at_s: float | None, most_s: float) -> bool:
        """Return whether a receiver that is not brief never had a fix."""
        last_s = self._receiver.last_s if at_s is None else self._receiver.last_before(at_s)
        fixed = np.isfinite(self._fix_s) if at_s is None else self._fix_s <= at_s
        if np.isinf(last_s) or fixed:
            return False
        receiver_s = self._receiver.covered_s(at_s)
        return not is_brief(receiver_s, lambda: max(most_s, receiver_s))

    def _is_gone(self, name: str, at_s: float | None) -> bool:
        since_s, before_s = self._unplugged[name]
        if at_s is not None and at_s < since_s:
            return False
        return covered_s(self._meters[name].displacement, at_s) - before_s < BRIEF_S

    def _is_brief(self, covered_s: float, at_s: float | None) -> bool:
        return is_brief(covered_s, lambda: self._most_s(at_s))

    def _most_s(self, at_s: float | None) -> float:
        return max(covered_s(meter.displacement, at_s) for meter in self._meters.values())

    def impossible_s(self) -> list[float]:
        """Return the stream times of the receiver's newest impossible velocities [s]."""
        meter = self._meters["gps"]
        return [*meter.gate.impossible_s, *meter.jumps.rejected_s]

    def _fold_gps(self, gps: Channel) -> None:
        fixed = gps["fix"] >= FIX_NEEDED
        self._receiver.fold(gps.t_s)
        if fixed.any():
            self._fix_s = min(self._fix_s, float(gps.t_s[fixed].min()))
        poor = gps["speed_sd_mps"] > SPEED_SD_MOST_MPS
        speed = np.where(fixed & ~poor, gps["speed_mps"], np.nan)
        course = self._carried(np.radians(gps["course_deg"]))
        # A negative speed is impossible: leave it to the gate to count.
        speed = np.where(speed < 0, np.inf, speed)
        with np.errstate(invalid="ignore"):
            east, north = speed * np.sin(course), speed * np.cos(course)
        east, north = np.where(np.isinf(speed), np.inf, east), np.where(np.isinf(speed), 0.0, north)
        self._meters["gps"].fold(gps.t_s, east, north, gps["latitude_deg"], gps["longitude_deg"])

    def _carried(self, course_rad: FloatArray) -> FloatArray:
        """Fill unknown courses with the last known one."""
        filled = np.concatenate([[self._course_rad], course_rad])
        places = np.where(np.isfinite(filled), np.arange(len(filled)), 0)
        filled = filled[np.maximum.accumulate(places)]
        self._course_rad = float(filled[-1])
        return filled[1:]
