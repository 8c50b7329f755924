"""How water and wind along the way home changed so far, extrapolated over the time home.

Wind is not measured. Its push shows in two ways: as water that moves, which helps on one course as
much as it hinders on the other; and as a drag that costs on every course, since air resistance
grows with the square of its speed. A wind that gets up from behind is both: they cancel on the way
out and add up on the way home.

Each minute under way shows a speed over ground and, by the curve, the speed through water for its
power. Along the line home, those minutes are filtered by a linear model (Kalman). Its states are

    u   water along the line home [m/s], a random walk with the drift u';
    k   relative error of the curve's speed;
    f   additional drag [J/m of battery energy], a random walk with the drift f';

and a minute at the speeds v over ground and w through water and the power P shows

    v - w = c u + k w - f v (dw/dP),

with c the cosine of its course to the line home. Both drifts are shrunk towards no trend by their
priors: that of f' allows for a wind that gets up from behind and cannot be noticed until the turn.
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.advice.common_practice import (
    ALONG_COSINE,
    DRAG_RATE_SD_JPMS,
    DRAG_SD_JPM,
    DRAG_WALK_J2PM2S,
    MINUTES_MOST,
    STRAIGHT_FRACTION,
    WATER_RATE_SD_MPS2,
)
from onboard.efficiency.common_practice import (
    CRAB_SPEED_LEAST_FRACTION,
    LEAVING_MPS,
    WATER_PRIOR_SD_MPS,
)
from onboard.efficiency.curve.speed_power import KNOTS, Posterior
from onboard.efficiency.curve.water_walk import WANDER_M2PS3
from onboard.efficiency.sources.settled_seconds import SettledSeconds

MINUTE_S = 60
"""Length of a block [s]; blocks end at its whole multiples of stream time."""

WATER, WATER_RATE, CURVE, DRAG, DRAG_RATE = range(5)
"""The states."""


@dataclass(frozen=True)
class Headwind:
    """The states now, and what follows for the way home.

    Parameters
    ----------
    mean, covariance
        Of the states, (5,) and (5, 5).
    through_mps
        Speed through water at which the curve's error counts.
    fitted_mps
        The water along the line home in the fit of curve and water.
    """

    mean: FloatArray
    covariance: FloatArray
    through_mps: float
    fitted_mps: float

    @classmethod
    def unknown(cls) -> Self:
        """Return the priors."""
        sds = WATER_PRIOR_SD_MPS, WATER_RATE_SD_MPS2, 0.0, DRAG_SD_JPM, DRAG_RATE_SD_JPMS
        return cls(np.zeros(5), np.diag(np.square(sds)), 0.0, 0.0)

    @property
    def more_mps(self) -> float:
        """Speed over ground that the fit of curve and water lacks on the way home now."""
        return float(self.mean[WATER] + self.mean[CURVE] * self.through_mps - self.fitted_mps)

    @property
    def rate_mps2(self) -> float:
        """Its change with time; a trend that helps is not relied on."""
        return min(float(self.mean[WATER_RATE]), 0.0)

    def drag_jpm(self, ahead_s: FloatArray) -> FloatArray:
        """Return the mean additional drag over a time ahead, helpful trends left out."""
        trend = max(float(self.mean[DRAG_RATE]), 0.0) * ahead_s / 2.0
        return np.asarray(self.mean[DRAG] + trend, np.float64)

    def spread(self, ahead_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return variance of speed and of drag, and their covariance, as means over times ahead."""
        nothing, one, half = np.zeros_like(ahead_s), np.ones_like(ahead_s), ahead_s / 2.0
        speed = np.stack([one, half, one * self.through_mps, nothing, nothing], axis=1)
        drag = np.stack([nothing, nothing, nothing, one, half], axis=1)
        rows = (speed, speed), (drag, drag), (speed, drag)
        of_speed, of_drag, both = (
            np.asarray(np.einsum("ni,ij,nj->n", a, self.covariance, b), np.float64) for a, b in rows
        )
        return of_speed, of_drag, both


class HeadwindTrend:
    """Keep the minutes under way; filter those along the line home."""

    def __init__(self) -> None:
        self._open: list[list[float]] = []
        self._minutes: list[list[float]] = []
        """Of each minute: its end [s], mean power [W], mean velocity east and north [m/s]."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order."""
        rows = np.stack([seconds.t_s, seconds.power_w, seconds.east_mps, seconds.north_mps], axis=1)
        for row in rows[np.isfinite(rows).all(axis=1)].tolist():
            if self._open and row[0] // MINUTE_S != self._open[0][0] // MINUTE_S:
                self._close()
            self._open.append(row)

    def _close(self) -> None:
        rows, self._open = np.array(self._open), []
        if len(rows) < MINUTE_S:
            return
        speed = np.hypot(rows[:, 2], rows[:, 3])
        power, east, north = rows[:, 1:].mean(axis=0).tolist()
        straight = math.hypot(east, north) > STRAIGHT_FRACTION * float(speed.mean())
        if power > 0.0 and straight and float(speed.min()) > LEAVING_MPS:
            self._minutes.append([float(rows[-1, 0]), power, east, north])
            del self._minutes[:-MINUTES_MOST]

    def homeward(self, bearing_deg: float, known: Posterior) -> Headwind:
        """Return what the minutes show by a curve, along the line home."""
        bearing = math.radians(bearing_deg)
        line = np.array([math.sin(bearing), math.cos(bearing)])
        minutes = np.array(self._minutes).reshape(-1, 4)
        speed = np.hypot(minutes[:, 2], minutes[:, 3])
        cosine = minutes[:, 2:] @ line / np.maximum(speed, 1e-9)
        along = np.abs(cosine) > ALONG_COSINE
        if not along.any():
            return Headwind.unknown()
        minutes, speed, cosine = minutes[along], speed[along], cosine[along]
        through = np.exp(np.interp(np.log(minutes[:, 1]), KNOTS, known.ln_speed))
        _, slope = known.ln_power_at(through)
        side = np.stack([minutes[:, 3], -minutes[:, 2]], axis=1) / speed[:, None]
        least = CRAB_SPEED_LEAST_FRACTION * through
        left = np.sqrt(np.maximum(through**2 - (side @ known.water_mps) ** 2, least**2))
        by_drag = speed * slope * through / minutes[:, 1]
        rows = np.zeros((len(minutes), 5))
        rows[:, WATER], rows[:, CURVE] = cosine, left
        rows[:, DRAG] = np.where(cosine > 0.0, -by_drag, 0.0)
        curve_sd = slope[-1] * math.sqrt(float(known.curve_variance(through[-1:])[0]))
        prior = Headwind.unknown().covariance
        prior[CURVE, CURVE] = curve_sd**2
        noise = known.velocity_sd_mps**2
        mean, covariance = _filter(minutes[:, 0], speed - left, rows, prior, noise)
        fitted = float(known.water_mps @ line)
        return Headwind(mean, covariance, float(through[-1]), fitted)


def _filter(
    t_s: FloatArray, seen: FloatArray, rows: FloatArray, prior: FloatArray, noise: float
) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the states at the last of the times."""
    mean, covariance = np.zeros(5), prior
    before_s = float(t_s[0])
    for at_s, value, row in zip(t_s.tolist(), seen.tolist(), rows, strict=True):
        step_s, before_s = at_s - before_s, at_s
        step = np.eye(5)
        step[WATER, WATER_RATE] = step[DRAG, DRAG_RATE] = step_s
        mean, covariance = step @ mean, step @ covariance @ step.T
        covariance[WATER, WATER] += WANDER_M2PS3 * step_s
        covariance[DRAG, DRAG] += DRAG_WALK_J2PM2S * step_s
        gain = covariance @ row / (row @ covariance @ row + noise)
        mean = mean + gain * (value - row @ mean)
        covariance = covariance - np.outer(gain, row @ covariance)
    return _truncated(mean, covariance)


def _truncated(mean: FloatArray, covariance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the moments given that the drag is not below its least (truncated normal)."""
    of_drag = covariance[DRAG]
    variance = float(of_drag[DRAG])
    sd = math.sqrt(variance)
    below = (-DRAG_SD_JPM - float(mean[DRAG])) / sd
    inside = 0.5 * math.erfc(below / math.sqrt(2.0))
    if inside < 1e-9:
        below, inside = 6.0, 0.5 * math.erfc(6.0 / math.sqrt(2.0))
    ratio = math.exp(-0.5 * below**2) / math.sqrt(2.0 * math.pi) / inside
    kept = max(1.0 + below * ratio - ratio**2, 0.01)
    mean = mean + of_drag / variance * (sd * ratio)
    return mean, covariance - np.outer(of_drag, of_drag) / variance * (1.0 - kept)
