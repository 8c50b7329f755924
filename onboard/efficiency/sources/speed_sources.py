"""The sources of velocity over ground, and which of them the figures rest on.

A source that falls silent leaves the speed unknown while it lasts: what the others say meanwhile
is a guess, and the way is bridged by the positions once it is back. Another one takes its place
when it covered twice the time, or when the rider says that it is unplugged.
"""

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.contract.reasons import Reason
from onboard.contract.refusals import Refusal, RefusalCode
from onboard.efficiency.meters.distance import DistanceMeter
from onboard.efficiency.meters.source_rules import BRIEF_S, SAID_S, Heard, is_brief
from onboard.efficiency.sources.latest import STALE_S

FIX_NEEDED = 3
"""A three-dimensional fix: with less the receiver's speed is not to be trusted."""

SPEED_SD_MOST_MPS = 1.0
"""A speed that the receiver itself states to be worse than this is as good as none."""

COVERAGE_FRACTION = 0.5
"""A source is passed over for one further down only if it covers less than half the time of that
one. Not sooner: what the others say while the receiver has no fix is a guess, often zero, and a
bridged gap is at least counted as one."""

NAMES = {"gps": "GPS receiver", "fused": "fused velocity", "hud": "display speed"}
"""What each source is called, in their order."""

STRAY_S = 60.0
"""A source that is heard on and on for longer is slow, not stray."""


class SpeedSources:
    """Receiver Doppler velocity, the autopilot's fused one, its display speed; in that order."""

    def __init__(self) -> None:
        self._meters = {name: DistanceMeter() for name in ("gps", "fused", "hud")}
        self._receiver = Heard()
        """Messages of the receiver, with a fix or without."""
        self._fix_s = np.inf
        """Stream time of the first fix [s]."""
        self._unplugged: dict[str, tuple[float, float]] = {}
        """Since when a source is said to be unplugged, and what it had covered [s]."""
        self._course_rad = 0.0

    def fold(self, block: Block) -> None:
        """Take in a block's `gps`, `fused` and `hud` channels."""
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
            # No course comes with it: as if always the same.
            still = np.where(hud["speed_mps"] >= 0, 0.0, np.nan)
            self._meters["hud"].fold(hud.t_s, still, hud["speed_mps"], nowhere, nowhere)

    def chosen(self, at_s: float | None = None) -> DistanceMeter | None:
        """Return the meter that the figures rest on, None where no velocity is known.

        Parameters
        ----------
        at_s
            By what the sources had covered up to this stream time [s]; None: up to now.
        """
        covered = {name: _covered_s(meter, at_s) for name, meter in self._meters.items()}
        most_s = max(covered.values())
        if self._without_fix(at_s, most_s):
            # What else states a speed then states a zero that nobody measured.
            return None
        gone = {name for name in self._unplugged if self._is_gone(name, at_s)}
        most_s = max((covered[name] for name in covered if name not in gone), default=0.0)
        for name, meter in self._meters.items():
            if name in gone:
                continue
            first_s = meter.displacement.first_s
            if first_s is None or (at_s is not None and first_s > at_s):
                continue
            if covered[name] >= COVERAGE_FRACTION * most_s:
                return meter
        return None

    def reached_s(self) -> list[float]:
        """Return the stream time up to which each source's track is settled [s]."""
        meters = self._meters.values()
        return [m.track.settled_s for m in meters if m.displacement.last_s is not None]

    def why_none(self) -> Reason:
        """Say why no meter can be chosen."""
        if np.isfinite(self._fix_s):
            return Reason.NO_SPEED_REPORTED
        if self._without_fix(None, self._most_s(None)):
            return Reason.NO_FIX
        return Reason.NO_GPS

    @property
    def only_display(self) -> bool:
        """Whether the display speed is all there is: it has no course."""
        return self.chosen() is self._meters["hud"]

    @property
    def several(self) -> bool:
        """Whether more than one source gave a speed for more than brief."""
        most_s = self._most_s(None)
        heard = (m for m in self._meters.values() if m.displacement.last_s is not None)
        return sum(not is_brief(_covered_s(meter, None), most_s) for meter in heard) > 1

    def name_of(self, meter: DistanceMeter) -> str:
        """Return what a source is called."""
        return next(NAMES[name] for name, one in self._meters.items() if one is meter)

    def brief(self, t_s: float) -> tuple[str, ...]:
        """Return the sources that were heard only briefly up to a stream time, lately [s]."""
        most_s = self._most_s(t_s)
        found = []
        receiver_s = self._receiver.last_before(t_s)
        if is_brief(self._receiver.covered_s(t_s), most_s) and 0 <= t_s - receiver_s < SAID_S:
            found.append(NAMES["gps"])
        for name in ("fused", "hud"):
            curves = self._meters[name].displacement
            first_s, last_s = curves.first_s, curves.last_before(t_s)
            if first_s is None or last_s is None or t_s - last_s >= SAID_S:
                continue
            if is_brief(curves.at("measured_s", t_s), most_s) and last_s - first_s < STRAY_S:
                found.append(NAMES[name])
        return tuple(found)

    def unplug(self, source: str, now_s: float) -> Refusal | None:
        """Take a source as gone until it is heard again; give why not, None when it was done."""
        name = next(key for key, called in NAMES.items() if called == source)
        last_s = self._meters[name].displacement.last_s
        if last_s is None:
            return Refusal(RefusalCode.NEVER_HEARD, source=source)
        if now_s - last_s <= STALE_S:
            return Refusal(RefusalCode.STILL_HEARD, source=source)
        self._unplugged[name] = now_s, _covered_s(self._meters[name], None)
        return None

    def _without_fix(self, at_s: float | None, most_s: float) -> bool:
        """Return whether a receiver is heard, for more than brief, and never had a fix."""
        last_s = self._receiver.last_s if at_s is None else self._receiver.last_before(at_s)
        fixed = np.isfinite(self._fix_s) if at_s is None else self._fix_s <= at_s
        if np.isinf(last_s) or fixed:
            return False
        receiver_s = self._receiver.covered_s(at_s)
        return not is_brief(receiver_s, max(most_s, receiver_s))

    def _is_gone(self, name: str, at_s: float | None) -> bool:
        since_s, covered_s = self._unplugged[name]
        if at_s is not None and at_s < since_s:
            return False
        return _covered_s(self._meters[name], at_s) - covered_s < BRIEF_S

    def _most_s(self, at_s: float | None) -> float:
        return max(_covered_s(meter, at_s) for meter in self._meters.values())

    def impossible_s(self) -> list[float]:
        """Return the stream times of the receiver's last velocities that cannot be [s]."""
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
        # A negative speed is none: let the gate count it.
        speed = np.where(speed < 0, np.inf, speed)
        with np.errstate(invalid="ignore"):
            east, north = speed * np.sin(course), speed * np.cos(course)
        east, north = np.where(np.isinf(speed), np.inf, east), np.where(np.isinf(speed), 0.0, north)
        self._meters["gps"].fold(gps.t_s, east, north, gps["latitude_deg"], gps["longitude_deg"])

    def _carried(self, course_rad: FloatArray) -> FloatArray:
        """Fill in courses that are not known with the last known one."""
        filled = np.concatenate([[self._course_rad], course_rad])
        places = np.where(np.isfinite(filled), np.arange(len(filled)), 0)
        filled = filled[np.maximum.accumulate(places)]
        self._course_rad = float(filled[-1])
        return filled[1:]


def _covered_s(meter: DistanceMeter, at_s: float | None) -> float:
    curves = meter.displacement
    return curves.total("measured_s") if at_s is None else curves.at("measured_s", at_s)
