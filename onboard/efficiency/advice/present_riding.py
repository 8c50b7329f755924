"""The present way of riding: the stretch since the rider last changed it, and how it varies.

A range tells how far one gets by going on as now. 'Now' reaches back to where power and speed last
changed in the same direction: that was the rider's hand. Where only one of them changed, or both in
opposite directions, it was the water current or the wind, which a way to and fro averages out.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import Spread

BLOCK_S = 30
KEPT = 240
"""Blocks remembered: two hours under way."""

SHORTEST = 2
"""Blocks that must have been ridden."""

HARDLY_MPS = 0.3

POWER_CHANGED, SPEED_CHANGED = 0.2, 0.05
"""Changes of the logarithm that count as the rider's hand if both are exceeded in one direction.
Gusts and water current change one at the other's cost. Common practice, no source."""

VARIES_FRACTION, VARIES_BLOCKS = 0.06, 1.0
"""How much consumption varies from block to block before that is known, and how many blocks that
guess is worth. Common practice, no source."""

RECENT = 4
LASTING_PARTS = 3.0
"""The last blocks' and all blocks' means are this many standard deviations apart: 95 % reach from
the middle beyond both."""

PASSING_PARTS = 1.8
"""What may only be passing lies so many standard deviations off: just inside the interval."""

MEMORY = 0.5
"""Correlation of neighbouring blocks that is taken for granted: gusts and water current last."""


@dataclass(frozen=True)
class Riding:
    """The present way of riding, measured.

    Parameters
    ----------
    power_w, speed_mps, volts_v
        Means under way.
    seconds_s
        Time under way that it rests on [s].
    block_variance
        Relative variance of a block's consumption about the mean.
    memory
        Correlation of neighbouring blocks.
    power_variance
        Relative variance of a block's power about the mean.
    lasting_variance, lasting_power_variance
        Of both, for not knowing whether the last minutes or all of it are to come.
    """

    power_w: float
    speed_mps: float
    volts_v: float
    seconds_s: float
    block_variance: float
    memory: float
    power_variance: float
    lasting_variance: float = 0.0
    lasting_power_variance: float = 0.0

    def wh_per_km(self, ahead_s: float) -> Spread:
        """Return consumption to expect over the next `ahead_s` [s of the same riding; Wh/km]."""
        km = self.speed_mps * self.seconds_s / 1000.0
        value = self.power_w / self.speed_mps / 3.6
        own = self._mean_variance(self.block_variance, ahead_s) + self.lasting_variance
        energy = Spread.of_energy(value * km, self.volts_v * self.seconds_s / 3600.0)
        return Spread(value, energy.gradient / km, own * value**2)

    def power(self, ahead_s: float) -> Spread:
        """Return the power to expect over the next `ahead_s` [s; W]."""
        own = self._mean_variance(self.power_variance, ahead_s) + self.lasting_power_variance
        energy = Spread.of_energy(self.power_w, self.volts_v)
        return Spread(self.power_w, energy.gradient, own * self.power_w**2)

    def _mean_variance(self, variance: float, ahead_s: float) -> float:
        """Return the relative variance of a future mean about a past one."""
        spread = (1 + self.memory) / (1 - self.memory)
        blocks = np.array([self.seconds_s, max(ahead_s, BLOCK_S)]) / BLOCK_S
        return float((variance * np.minimum(spread / blocks, 1.0)).sum())


class PresentRiding:
    """Keeps blocks of riding and tells which of them are like now."""

    def __init__(self) -> None:
        # Of each block under way: power, speed, volts.
        self._blocks: list[tuple[float, float, float]] = []
        self._open = np.empty((0, 3))
        self._now: Riding | Unknown | None = None
        """As of the last second, once somebody asked."""

    def fold(self, seconds: SettledSeconds) -> None:
        """Take in seconds, in order."""
        self._now = None
        rows = np.stack([seconds.power_w, seconds.distance_m, seconds.volts_v], axis=1)
        rows = rows[np.isfinite(rows).all(axis=1) & (seconds.distance_m > HARDLY_MPS)]
        rows = np.concatenate([self._open, rows])
        count = len(rows) // BLOCK_S
        for block in rows[: count * BLOCK_S].reshape(count, BLOCK_S, 3):
            self._blocks.append(tuple(block.mean(axis=0).tolist()))
        del self._blocks[:-KEPT]
        self._open = rows[count * BLOCK_S :]

    def now(self) -> Riding | Unknown:
        """Return the present way of riding."""
        if self._now is None:
            self._now = self._riding()
        return self._now

    def _riding(self) -> Riding | Unknown:
        blocks = np.array(self._blocks).reshape(-1, 3)
        if len(blocks) < SHORTEST:
            return Unknown(Reason.TOO_LITTLE_RIDING)
        newest = blocks
        if len(self._open) >= BLOCK_S // 3:
            # What is not a whole block yet shows a change first.
            newest = np.concatenate([blocks, self._open.mean(axis=0)[None]])
        like, passing = newest[_begin(newest) :], newest[:0]
        if len(like) < SHORTEST:
            # A way of riding that has just begun may be a passing one: the one before stands.
            before, passing = newest[: -len(like)], like
            like = before[_begin(before) :]
        # Is what differs about the last minutes here to stay? Half of it is taken to be.
        recent = like[-RECENT:]
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
            _memory(consumption),
            _variance(draw),
            _lasting_variance(consumption) + _passing_variance(passing, power, speed),
            _lasting_variance(draw) + _passing_variance(passing, power, None),
        )


def _lasting_variance(residuals: FloatArray) -> float:
    """Return the variance for not knowing whether the last blocks or all of them are to come."""
    apart = float(residuals[-RECENT:].mean() - residuals.mean())
    return (apart / LASTING_PARTS) ** 2


def _passing_variance(passing: FloatArray, power: float, speed: float | None) -> float:
    """Return the variance for not knowing whether a way of riding that has just begun will stay."""
    if not len(passing):
        return 0.0
    factor = float(passing[:, 0].mean()) / power
    if speed is not None:
        factor *= speed / float(passing[:, 1].mean())
    return ((factor - 1.0) / PASSING_PARTS) ** 2


def _begin(blocks: FloatArray) -> int:
    """Return the first block that is like the last ones."""
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
    known = VARIES_BLOCKS * VARIES_FRACTION**2 + float(residuals @ residuals)
    return known / (VARIES_BLOCKS + len(residuals) - 1)


def _memory(residuals: FloatArray) -> float:
    """Return the lag-one correlation, drawn to `MEMORY` by as much as a few blocks."""
    floor = 10 * VARIES_FRACTION**2 / 4
    lagged = float(residuals[1:] @ residuals[:-1]) + MEMORY * floor
    return min(max(lagged / (float(residuals @ residuals) + floor), 0.0), 0.95)
