"""The sources of velocity over ground, and which of them the figures rest on."""

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.efficiency.cumulative import CumulativeCurves
from onboard.efficiency.distance import DistanceMeter

FIX_NEEDED = 3
"""A three-dimensional fix: with less the receiver's speed is not to be trusted."""

SPEED_SD_MOST_MPS = 1.0
"""A speed that the receiver itself states to be worse than this is as good as none."""

COVERAGE_FRACTION = 0.5
"""A source is passed over for one further down only if it covers less than half the time of that
one. Not sooner: what the others say while the receiver has no fix is a guess, often zero, and a
bridged gap is at least counted as one."""


class SpeedSources:
    """Receiver Doppler velocity, the autopilot's fused one, its display speed; in that order."""

    def __init__(self) -> None:
        self._meters = {name: DistanceMeter() for name in ("gps", "fused", "hud")}
        self._heard_receiver = self._had_fix = False
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
        """Give the meter that the figures rest on, None where no velocity is known.

        Parameters
        ----------
        at_s
            By what the sources had covered up to this stream time [s]; None: up to now.
        """
        if self._heard_receiver and not self._had_fix:
            # What else states a speed then states a zero that nobody measured.
            return None
        covered = {name: _covered_s(meter, at_s) for name, meter in self._meters.items()}
        most_s = max(covered.values())
        for name, meter in self._meters.items():
            if meter.displacement.last_s is not None and (
                covered[name] >= COVERAGE_FRACTION * most_s
            ):
                return meter
        return None

    def reached_s(self) -> list[float]:
        """Give the stream time up to which each source's track is settled [s]."""
        meters = self._meters.values()
        return [m.track.settled_s for m in meters if m.displacement.last_s is not None]

    def begun(self) -> list[tuple[float, CumulativeCurves]]:
        """Give the stream time from which each source counts [s], and the distance it counts."""
        curves = [
            (meter.displacement.first_s, meter.track.curve) for meter in self._meters.values()
        ]
        return [(first_s, one) for first_s, one in curves if first_s is not None]

    def why_none(self) -> str:
        """Say why no meter can be chosen."""
        if self._had_fix:
            return "no speed reported"
        if self._heard_receiver:
            return "no GPS fix"
        return "no GPS heard yet"

    @property
    def only_display(self) -> bool:
        """Whether the display speed is all there is: it has no course."""
        return self.chosen() is self._meters["hud"]

    def impossible_s(self) -> list[float]:
        """Give the stream times of the receiver's last velocities that cannot be [s]."""
        meter = self._meters["gps"]
        return [*meter.gate.impossible_s, *meter.jumps.rejected_s]

    def _fold_gps(self, gps: Channel) -> None:
        fixed = gps["fix"] >= FIX_NEEDED
        self._heard_receiver = True
        self._had_fix |= bool(np.any(fixed))
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
