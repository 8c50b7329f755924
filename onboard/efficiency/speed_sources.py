"""The sources of speed over ground, and which of them the figures rest on."""

import numpy as np

from onboard.block import Block
from onboard.efficiency.distance import DistanceMeter

FIX_NEEDED = 3
"""A three-dimensional fix: with less the receiver's speed is not to be trusted."""

COVERAGE_FRACTION = 0.5
"""A source is passed over for one further down only if it covers less than half the time of that
one. Not sooner: what the others say while the receiver has no fix is a guess, often zero, and a
bridged gap is at least counted as one."""


class SpeedSources:
    """Receiver Doppler speed, the autopilot's fused velocity, its display speed; in that order."""

    def __init__(self) -> None:
        self._meters = {name: DistanceMeter() for name in ("gps", "fused", "hud")}
        self._heard_receiver = self._had_fix = False

    def fold(self, block: Block) -> None:
        """Take in a block's `gps`, `fused` and `hud` channels."""
        if gps := block.get("gps"):
            fixed = gps["fix"] >= FIX_NEEDED
            self._heard_receiver = True
            self._had_fix |= bool(np.any(fixed))
            speed = np.where(fixed, gps["speed_mps"], np.nan)
            self._meters["gps"].fold(gps.t_s, speed, gps["latitude_deg"], gps["longitude_deg"])
        if fused := block.get("fused"):
            speed = np.hypot(fused["north_mps"], fused["east_mps"])
            latitude, longitude = fused["latitude_deg"], fused["longitude_deg"]
            self._meters["fused"].fold(fused.t_s, speed, latitude, longitude)
        if hud := block.get("hud"):
            nowhere = np.full(len(hud), np.nan)
            self._meters["hud"].fold(hud.t_s, hud["speed_mps"], nowhere, nowhere)

    def chosen(self) -> DistanceMeter | None:
        """Give the meter that the figures rest on, None where no speed is known."""
        if self._heard_receiver and not self._had_fix:
            # What else states a speed then states a zero that nobody measured.
            return None
        most_s = max(meter.measured_s for meter in self._meters.values())
        for meter in self._meters.values():
            if meter.distance_m.last_s is not None and (
                meter.measured_s >= COVERAGE_FRACTION * most_s
            ):
                return meter
        return None

    def why_none(self) -> str:
        """Say why no meter can be chosen."""
        if self._had_fix:
            return "no speed reported"
        if self._heard_receiver:
            return "no GPS fix"
        return "no GPS heard yet"
