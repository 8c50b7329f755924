"""How water and wind along the way home changed so far, extrapolated over the time home.

Wind is not measured. Its push shows in two ways: as water that moves, which helps on one course as
much as it hinders on the other; and as a drag that costs on every course, since air resistance
grows with the square of its speed. A wind that gets up from behind is both: on the way out they
cancel, on the way home they add up. So the drag is learned only from minutes towards home; until
then it grows more uncertain with the time away.

Each minute under way shows a speed over ground and, by the curve, the speed through water for its
power. Along the line home, those minutes are filtered by a linear model (Kalman) with the states

    u   water along the line home [m/s], a random walk with the drift u';
    k   relative error of the curve's speed;
    f   additional drag [J/m of battery energy], a random walk with the drift f'.

A minute at the speeds v over ground and w through water and the power P shows

    v - w = c u + k w - f v (dw/dP),

with c the cosine of its course to the line home. Both drifts are shrunk towards no trend by their
priors. They forget: each is an Ornstein-Uhlenbeck process, as no wind rises for ever. Minutes on
other courses show nothing, but time goes by.
"""

import math
from typing import Self

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.advice.common_practice import (
    ALONG_COSINE,
    BEARING_STEP_DEG,
    DRAG_RATE_SD_JPMS,
    DRAG_SD_JPM,
    DRAG_WALK_J2PM2S,
    MINUTES_MOST,
    STRAIGHT_FRACTION,
    TREND_S,
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

DRIFTING = (
    (WATER, WATER_RATE, WATER_RATE_SD_MPS2, WANDER_M2PS3),
    (DRAG, DRAG_RATE, DRAG_RATE_SD_JPMS, DRAG_WALK_J2PM2S),
)
"""Pairs of a level and its drift, with the standard deviation of the drift and the variance rate of
the level's own random walk."""


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
        """Return the priors of what the fit of curve and water does not know."""
        return cls(np.zeros(5), _prior(0.0, 0.0), 0.0, 0.0)

    def more_mps(self, ahead_s: FloatArray) -> FloatArray:
        """Return the mean speed over ground in times ahead beyond that by curve and water alone.

        A trend that helps is not relied on.
        """
        now = self.mean[WATER] + self.mean[CURVE] * self.through_mps - self.fitted_mps
        trend = min(float(self.mean[WATER_RATE]), 0.0) * mean_drift_s(ahead_s)
        return np.asarray(now + trend, np.float64)

    def drag_jpm(self, ahead_s: FloatArray) -> FloatArray:
        """Return the mean additional drag in times ahead, without relief."""
        trend = max(float(self.mean[DRAG_RATE]), 0.0) * mean_drift_s(ahead_s)
        return np.asarray(np.maximum(self.mean[DRAG] + trend, 0.0), np.float64)

    def spread(self, ahead_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the variances of both means, of speed and of drag, and their covariance."""
        nothing, one, drift_s = np.zeros_like(ahead_s), np.ones_like(ahead_s), mean_drift_s(ahead_s)
        speed = np.stack([one, drift_s, one * self.through_mps, nothing, nothing], axis=1)
        drag = np.stack([nothing, nothing, nothing, one, drift_s], axis=1)
        rows = (speed, speed), (drag, drag), (speed, drag)
        of_speed, of_drag, both = (
            np.asarray(np.einsum("ni,ij,nj->n", a, self.covariance, b), np.float64) for a, b in rows
        )
        return of_speed, of_drag, both


def mean_drift_s(ahead_s: FloatArray) -> FloatArray:
    """Return the mean of a level over a time ahead, less its present one, per unit of its drift.

    Half the time at first; the memory of the drift in the end.
    """
    past = np.maximum(ahead_s, 1e-6) / TREND_S
    return np.asarray(TREND_S * (1.0 + np.expm1(-past) / past), np.float64)


class HeadwindTrend:
    """Keep the minutes under way; filter those along the line home."""

    def __init__(self) -> None:
        self._open: list[list[float]] = []
        self._minutes: list[list[float]] = []
        """Of each minute: its end [s], mean power [W], mean velocity east and north [m/s]."""
        self._minute_s = 0.0
        """Stream time at the end of the last minute, under way or not [s]."""
        self._last: tuple[Posterior, float, float, Headwind] | None = None
        """The last result, with the curve, the bearing and the minute that it is based on."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order."""
        if len(seconds):
            self._minute_s = float(seconds.t_s[-1] // MINUTE_S * MINUTE_S)
        rows = np.stack([seconds.t_s, seconds.power_w, seconds.east_mps, seconds.north_mps], axis=1)
        for row in rows[np.isfinite(rows).all(axis=1)].tolist():
            self._open.append(row)
            if row[0] % MINUTE_S == 0:
                self._close()

    def _close(self) -> None:
        rows, self._open = np.array(self._open[-MINUTE_S:]), []
        if len(rows) < MINUTE_S or rows[-1, 0] - rows[0, 0] >= MINUTE_S:
            return
        speed = np.hypot(rows[:, 2], rows[:, 3])
        power, east, north = rows[:, 1:].mean(axis=0).tolist()
        straight = math.hypot(east, north) > STRAIGHT_FRACTION * float(speed.mean())
        if power > 0.0 and straight and float(speed.min()) > LEAVING_MPS:
            self._minutes.append([float(rows[-1, 0]), power, east, north])
            del self._minutes[:-MINUTES_MOST]

    def homeward(self, bearing_deg: float, known: Posterior) -> Headwind:
        """Return what the minutes show by a curve, along the line home."""
        # Cached: a snapshot asks every second, and little changes within a minute.
        bearing_deg = round(bearing_deg / BEARING_STEP_DEG) * BEARING_STEP_DEG
        last = self._last
        if last is None or last[0] is not known or last[1:3] != (bearing_deg, self._minute_s):
            wind = self._homeward(math.radians(bearing_deg), known)
            last = self._last = known, bearing_deg, self._minute_s, wind
        return last[3]

    def _homeward(self, bearing_rad: float, known: Posterior) -> Headwind:
        if not self._minutes:
            return Headwind.unknown()
        line = np.array([math.sin(bearing_rad), math.cos(bearing_rad)])
        fitted = float(known.water_mps @ line)
        minutes = np.array(self._minutes)
        speed = np.hypot(minutes[:, 2], minutes[:, 3])
        cosine = minutes[:, 2:] @ line / speed
        along = np.abs(cosine) > ALONG_COSINE
        through = np.exp(np.interp(np.log(minutes[:, 1]), KNOTS, known.ln_speed))
        _, slope = known.ln_power_at(through)
        side = np.stack([minutes[:, 3], -minutes[:, 2]], axis=1) / speed[:, None]
        least = CRAB_SPEED_LEAST_FRACTION * through
        left = np.sqrt(np.maximum(through**2 - (side @ known.water_mps) ** 2, least**2))
        by_drag = speed * slope * through / minutes[:, 1]
        rows = np.zeros((len(minutes), 5))
        rows[along, WATER], rows[along, CURVE] = cosine[along], left[along]
        homeward = cosine > ALONG_COSINE
        rows[homeward, DRAG] = -by_drag[homeward]
        curve_sd = float(slope[-1]) * math.sqrt(float(known.curve_variance(through[-1:])[0]))
        prior = _prior(WATER_PRIOR_SD_MPS, curve_sd) if along.any() else _prior(0.0, 0.0)
        noise = known.velocity_sd_mps**2
        # A last row that shows nothing brings the states up to the present.
        t_s = np.append(minutes[:, 0], self._minute_s)
        rows = np.concatenate([rows, np.zeros((1, 5))])
        mean, covariance = _filter(t_s, np.append(speed - left, 0.0), rows, prior, noise)
        if not along.any():
            mean[WATER] = fitted
        return Headwind(mean, covariance, float(through[-1]), fitted)


def _prior(water_sd_mps: float, curve_sd: float) -> FloatArray:
    sds = water_sd_mps, WATER_RATE_SD_MPS2, curve_sd, DRAG_SD_JPM, DRAG_RATE_SD_JPMS
    return np.diag(np.square(sds))


def _filter(
    t_s: FloatArray, seen: FloatArray, rows: FloatArray, prior: FloatArray, noise: float
) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the states at the last of the times."""
    mean, covariance = np.zeros(5), prior
    before_s = float(t_s[0])
    for at_s, value, row in zip(t_s.tolist(), seen.tolist(), rows, strict=True):
        if at_s > before_s:
            step, added = _step(at_s - before_s)
            mean, covariance = step @ mean, step @ covariance @ step.T + added
            before_s = at_s
        gain = covariance @ row / (row @ covariance @ row + noise)
        mean = mean + gain * (value - row @ mean)
        covariance = covariance - np.outer(gain, row @ covariance)
    return _at_least(mean, covariance, DRAG, -DRAG_SD_JPM)


def _step(step_s: float) -> tuple[FloatArray, FloatArray]:
    """Return the transition over a time, and the covariance that it adds.

    Of an integrated Ornstein-Uhlenbeck process with memory T, drift variance s^2 and e = exp(-t/T):
    s^2 (1 - e^2) for the drift, s^2 T (1 - e)^2 for both, s^2 T^2 (2 t/T - 3 + 4 e - e^2) for the
    level (textbooks on target tracking; by integration).
    """
    kept = math.exp(-step_s / TREND_S)
    transition, added = np.eye(5), np.zeros((5, 5))
    for level, drift, sd, walk in DRIFTING:
        transition[level, drift], transition[drift, drift] = TREND_S * (1.0 - kept), kept
        added[drift, drift] = sd**2 * (1.0 - kept**2)
        added[level, drift] = added[drift, level] = sd**2 * TREND_S * (1.0 - kept) ** 2
        grown = 2.0 * step_s / TREND_S - 3.0 + 4.0 * kept - kept**2
        added[level, level] = (sd * TREND_S) ** 2 * max(grown, 0.0) + walk * step_s
    return transition, added


def _at_least(
    mean: FloatArray, covariance: FloatArray, state: int, least: float
) -> tuple[FloatArray, FloatArray]:
    """Return the moments given that a state is not below its least (truncated normal)."""
    column = covariance[state]
    variance = float(column[state])
    sd = math.sqrt(variance)
    below = min((least - float(mean[state])) / sd, TRUNCATED_MOST_SD)
    inside = 0.5 * math.erfc(below / math.sqrt(2.0))
    hazard = math.exp(-0.5 * below**2) / math.sqrt(2.0 * math.pi) / inside
    kept = 1.0 + below * hazard - hazard**2
    lifted = least - float(mean[state]) - below * sd + sd * hazard
    mean = mean + column / variance * lifted
    return mean, covariance - np.outer(column, column) / variance * (1.0 - kept)


TRUNCATED_MOST_SD = 6.0
"""Standard deviations beyond which the moments of the tail are those at this number (numerics)."""
