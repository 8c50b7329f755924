"""Distance over ground from one source of velocity, with gaps and uncertainty.

A gap is bridged by the straight line between its ends, and that distance is counted as bridged.
"""

from dataclasses import replace

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Figure
from onboard.efficiency.common_practice import BRIDGE_LINE_SD_FRACTION, GAP_S, SPEED_MOST_MPS
from onboard.efficiency.meters.cumulative import CumulativeCurves, forgotten_s
from onboard.efficiency.meters.gate import Gate
from onboard.efficiency.meters.geodesy import local_offset_m
from onboard.efficiency.meters.jumps import JumpGate
from onboard.efficiency.meters.moving import MovingTimer
from onboard.efficiency.meters.track import Track
from onboard.efficiency.statistics.shared_errors import Z_95, interval

DEFINITION_FRACTION = 3e-4
"""Standard deviation between the smoothed and the true track, as a share of the distance (measured
on simulated rides)."""


class DistanceMeter:
    """Distance from one source of velocity over ground."""

    def __init__(self) -> None:
        self.gate = Gate()
        self.jumps = JumpGate()
        self.displacement = CumulativeCurves("east_m", "north_m", "measured_s")
        """Time integral of velocity, and time covered by steps that are not gaps."""
        self.track = Track()
        self.moving = MovingTimer()
        self.bridged_m = 0.0
        """Distance over gaps [m]."""
        self.bridged_variance_m2 = 0.0
        """Variance of that distance [m^2]."""
        self._last = np.empty((5, 0))
        self._totals_m: dict[float, float] = {}
        """Cache of `at_m` by time, cleared by new samples."""

    @property
    def first_s(self) -> float:
        """Stream time of the first sample [s]."""
        return self.displacement.first_s or 0.0

    @property
    def last_s(self) -> float:
        """Stream time of the newest sample [s]."""
        return self.displacement.last_s or 0.0

    last_seen_s = last_s
    """The same, under the name that power meters use."""

    @property
    def forgotten_s(self) -> float:
        """Stream time before which totals are forgotten [s]; minus infinity if none are."""
        return forgotten_s((self.displacement, self.track.curve))

    @property
    def speed_mps(self) -> float:
        """Newest speed [m/s], NaN before the first."""
        return float(np.hypot(*self._last[1:3, -1])) if self._last.size else float("nan")

    @property
    def distance_m(self) -> float:
        """Distance so far [m]."""
        return self.at_m(self.last_s)

    def at_m(self, t_s: float) -> float:
        """Return the distance up to a time [m]; cached, as snapshots query it repeatedly."""
        if t_s not in self._totals_m:
            self._totals_m[t_s] = self.track.total_m(self.displacement, t_s)
        return self._totals_m[t_s]

    def noise_variance_m2(self, seconds_s: float) -> float:
        """Return the variance of a distance from noise over a time under way [m^2]."""
        return self.track.noise.long_run_m2ps * max(seconds_s, 0.0)

    def own_variance_m2(self) -> float:
        """Return the variance of the whole distance, excluding time at rest [m^2]."""
        definition = (DEFINITION_FRACTION * self.distance_m) ** 2
        under_way = self.noise_variance_m2(self.track.under_way_s)
        return under_way + definition + self.bridged_variance_m2

    def figure(self) -> Figure:
        """Return the distance with its interval, widened upward by possible drift at rest."""
        rest = self.track.at_rest_m
        rest += Z_95 * float(np.sqrt(self.noise_variance_m2(self.track.rest_s)))
        under_way = interval(self.distance_m, float(np.sqrt(self.own_variance_m2())), least=0.0)
        assert under_way.high is not None
        return replace(under_way, high=under_way.high + rest)

    def fold(
        self,
        t_s: FloatArray,
        east_mps: FloatArray,
        north_mps: FloatArray,
        latitude_deg: FloatArray,
        longitude_deg: FloatArray,
    ) -> None:
        """Fold samples.

        Parameters
        ----------
        t_s
            Stream time [s], shape (n,).
        east_mps, north_mps
            Velocity over ground [m/s], shape (n,); NaN is unknown.
        latitude_deg, longitude_deg
            Position [deg], shape (n,); NaN is unknown.
        """
        speed = np.hypot(east_mps, north_mps)
        passed = self.gate.passes(t_s, np.isfinite(speed), speed < SPEED_MOST_MPS)
        new = np.stack([t_s, east_mps, north_mps, latitude_deg, longitude_deg])
        if not passed.all():
            new, speed = new[:, passed], speed[passed]
        no_jump = self.jumps.passes(*new[:3])
        if not no_jump.all():
            new, speed = new[:, no_jump], speed[no_jump]
        if not new.size:
            return
        self._totals_m.clear()
        rows = np.concatenate([self._last, new], axis=1)
        fresh = self._last.size
        self._last = rows[:, -1:].copy()
        step_s = np.diff(rows[0])
        increments = np.zeros((3, new.shape[1]))
        steps = increments[:, 0 if fresh else 1 :]
        steps[:2] = (rows[1:3, 1:] + rows[1:3, :-1]) * (step_s / 2)
        gaps = step_s > GAP_S
        for n in np.flatnonzero(gaps).tolist():
            steps[:2, n] = self._bridge(rows[:, n], rows[:, n + 1], steps[:2, n])
        steps[2] = np.where(gaps, 0.0, step_s)
        self.displacement.extend(new[0], increments)
        self.track.fold(self.displacement)
        self.moving.fold(new[0], speed)

    def _bridge(self, before: FloatArray, after: FloatArray, by_speed: FloatArray) -> FloatArray:
        """Return the displacement over a gap: from positions, else from the speed on both sides."""
        step_s = float(after[0] - before[0])
        mean_mps = float(np.hypot(*before[1:3]) + np.hypot(*after[1:3])) / 2
        east, north = local_offset_m(before[3], before[4], after[3], after[4])
        line = float(np.hypot(east, north))
        # No craft of this size could have covered a longer line: the positions are wrong.
        if not line < SPEED_MOST_MPS * step_s:
            length = float(np.hypot(*by_speed))
            self.bridged_m += length
            self.bridged_variance_m2 += (length / 2) ** 2
            return by_speed
        # If the craft turned, its track was longer than the line: as long as its speed implies.
        longer = max(mean_mps * step_s - line, 0.0) / Z_95
        self.bridged_variance_m2 += longer**2 + (BRIDGE_LINE_SD_FRACTION * line) ** 2
        self.bridged_m += line
        return np.array([east, north])
