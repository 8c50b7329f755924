"""The present way of riding: how far back 'as now' reaches, and how consumption varies meanwhile.

A range answers how far the craft gets if ridden on as now. 'Now' begins where power and speed last
changed in the same direction by more than both thresholds: the rider did that. A change of only
one of them, or of both in opposite directions, was water current or wind, which a return trip
averages out; such blocks stay in the mean.

The mean is that of blocks of 30 s under way since then, moved half way to the mean of the last few:
if the two differ, it is unknown whether the difference will last, so half of it enters the mean and
the rest the interval. A way of riding younger than two blocks may be temporary: the previous one
stands, and the interval extends to the new one.

The variance of a future mean about this past mean follows from the variance of blocks and the
correlation of neighbouring ones, both shrunk towards priors worth a few blocks.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.common_practice import (
    RIDING_CORRELATION,
    RIDING_SD_FRACTION,
    RIDING_SD_WORTH,
)
from onboard.efficiency.meters.steadiness import MOVING_MPS, POWER_CHANGED, SPEED_CHANGED
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import Spread

BLOCK_S = 30
"""Length of a block [s]."""

BLOCKS_MOST = 240
"""Blocks stored at most: two hours under way."""

BLOCKS_LEAST = 2
"""Blocks that a way of riding must have lasted."""

RECENT_BLOCKS = 4
"""Blocks that count as the last minutes."""

LASTING_PARTS = 3.0
"""Standard deviations between the mean of the last blocks and that of all: a 95 % interval about
their midpoint contains both."""

PASSING_PARTS = 1.8
"""Standard deviations from the mean to a possibly temporary way of riding: just inside the
interval."""


@dataclass(frozen=True)
class Riding:
    """The present way of riding, measured.

    Parameters
    ----------
    power_w, speed_mps, volts_v
        Means under way.
    seconds_s
        Time under way that they are based on [s].
    block_variance
        Relative variance of a block's consumption about the mean.
    correlation
        Correlation of neighbouring blocks.
    power_variance
        Relative variance of a block's power about the mean.
    lasting_variance, lasting_power_variance
        Variance of both means from not knowing whether recent changes will last.
    """

    power_w: float
    speed_mps: float
    volts_v: float
    seconds_s: float
    block_variance: float
    correlation: float
    power_variance: float
    lasting_variance: float = 0.0
    lasting_power_variance: float = 0.0

    def wh_per_km(self, ahead_s: float) -> Spread:
        """Return the consumption [Wh/km] to expect over the next `ahead_s` [s] of riding."""
        km = self.speed_mps * self.seconds_s / 1000.0
        value = self.power_w / self.speed_mps / 3.6
        own = self._mean_variance(self.block_variance, ahead_s) + self.lasting_variance
        energy = Spread.of_energy(value * km, self.volts_v * self.seconds_s / 3600.0)
        return Spread(value, energy.gradient / km, own * value**2)

    def power(self, ahead_s: float) -> Spread:
        """Return the power [W] to expect over the next `ahead_s` [s]."""
        own = self._mean_variance(self.power_variance, ahead_s) + self.lasting_power_variance
        energy = Spread.of_energy(self.power_w, self.volts_v)
        return Spread(self.power_w, energy.gradient, own * self.power_w**2)

    def _mean_variance(self, variance: float, ahead_s: float) -> float:
        """Return the relative variance of a future mean about a past one."""
        spread = (1 + self.correlation) / (1 - self.correlation)
        blocks = np.array([self.seconds_s, max(ahead_s, BLOCK_S)]) / BLOCK_S
        return float((variance * np.minimum(spread / blocks, 1.0)).sum())


class PresentRiding:
    """Store blocks of riding, and find those ridden as now."""

    def __init__(self) -> None:
        # Of each block under way: power, speed, volts.
        self._blocks: list[tuple[float, float, float]] = []
        self._open = np.empty((0, 3))
        self._now: Riding | Unknown | None = None
        """Cached result as of the last second."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in seconds, in order."""
        self._now = None
        rows = np.stack([seconds.power_w, seconds.distance_m, seconds.volts_v], axis=1)
        rows = rows[np.isfinite(rows).all(axis=1) & (seconds.distance_m > MOVING_MPS)]
        rows = np.concatenate([self._open, rows])
        count = len(rows) // BLOCK_S
        for block in rows[: count * BLOCK_S].reshape(count, BLOCK_S, 3):
            self._blocks.append(tuple(block.mean(axis=0).tolist()))
        del self._blocks[:-BLOCKS_MOST]
        self._open = rows[count * BLOCK_S :]

    def now(self) -> Riding | Unknown:
        """Return the present way of riding."""
        if self._now is None:
            self._now = self._riding()
        return self._now

    def _riding(self) -> Riding | Unknown:
        blocks = np.array(self._blocks).reshape(-1, 3)
        if len(blocks) < BLOCKS_LEAST:
            return Unknown(Reason.TOO_LITTLE_RIDING)
        newest = blocks
        if len(self._open) >= BLOCK_S // 3:
            # An unfinished block is the first to show a change.
            newest = np.concatenate([blocks, self._open.mean(axis=0)[None]])
        like, passing = newest[_begin(newest) :], newest[:0]
        if len(like) < BLOCKS_LEAST:
            # A way of riding that has just begun may be temporary: the previous one stands.
            before, passing = newest[: -len(like)], like
            like = before[_begin(before) :]
        # It is unknown whether the last minutes' difference will last: assume half of it.
        recent = like[-RECENT_BLOCKS:]
        power, speed, volts = ((like.mean(axis=0) + recent.mean(axis=0)) / 2).tolist()
        if power <= 0:
            return Unknown(Reason.NO_ENERGY_DRAWN)
        consumption = like[:, 0] / power - like[:, 1] / speed
        draw = like[:, 0] / power - 1.0
        return Riding(
            power,
            speed,
            volts,
            len(like) * BLOCK_S,
            _variance(consumption),
            _correlation(consumption),
            _variance(draw),
            _lasting_variance(consumption) + _passing_variance(passing, power, speed),
            _lasting_variance(draw) + _passing_variance(passing, power, None),
        )


def _lasting_variance(residuals: FloatArray) -> float:
    """Return the variance from not knowing whether the last blocks' difference will last."""
    apart = float(residuals[-RECENT_BLOCKS:].mean() - residuals.mean())
    return (apart / LASTING_PARTS) ** 2


def _passing_variance(passing: FloatArray, power: float, speed: float | None) -> float:
    """Return the variance from not knowing whether a new way of riding will last."""
    if not len(passing):
        return 0.0
    factor = float(passing[:, 0].mean()) / power
    if speed is not None:
        factor *= speed / float(passing[:, 1].mean())
    return ((factor - 1.0) / PASSING_PARTS) ** 2


def _begin(blocks: FloatArray) -> int:
    """Return the index of the first block of the present way of riding."""
    begin = len(blocks) - 1
    while begin > 0:
        here = np.log(np.maximum(blocks[begin:].mean(axis=0)[:2], 1e-3))
        older = blocks[max(begin - 2, 0) : begin].mean(axis=0)[:2]
        changed = np.log(np.maximum(older, 1e-3)) - here
        if changed[0] * changed[1] > 0 and (
            abs(changed[0]) > POWER_CHANGED and abs(changed[1]) > SPEED_CHANGED
        ):
            break
        begin -= 1
    return begin


def _variance(residuals: FloatArray) -> float:
    known = RIDING_SD_WORTH * RIDING_SD_FRACTION**2 + float(residuals @ residuals)
    return known / (RIDING_SD_WORTH + len(residuals) - 1)


def _correlation(residuals: FloatArray) -> float:
    """Return the lag-one correlation, shrunk towards the prior."""
    floor = 10 * RIDING_SD_FRACTION**2 / 4
    lagged = float(residuals[1:] @ residuals[:-1]) + RIDING_CORRELATION * floor
    return min(max(lagged / (float(residuals @ residuals) + floor), 0.0), 0.95)
