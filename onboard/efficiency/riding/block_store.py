"""Blocks of riding cut from settled seconds, stored up to two hours under way.

Seconds at rest are left out, and so are the blocks before a stop in which the craft lost way: with
the drive off it drifts at next to no power, which is no riding to go on with.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.meters.steadiness import MOVING_MPS
from onboard.efficiency.riding.ridden_blocks import (
    BLOCK_S,
    COLUMNS,
    EAST,
    NORTH,
    POWER,
    SPEED,
    VOLTS,
    block_of,
)
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.middle import median

BLOCKS_MOST = 720
"""Blocks stored at most: two hours under way."""

OPEN_LEAST_S = 5
"""Seconds from which the unfinished block counts as one: it is the first to show a change [s]."""

STOP_S = 5
"""Time at rest that is a stop [s]."""

LOSING_WAY_BLOCKS, LOSING_WAY_FRACTION = 3, 0.8
"""Blocks before a stop that may have led to it; and the share of the speed of the block before up
to which one has lost way."""


OFF_FRACTION = 0.03
"""Share of the highest power up to which the drive is off: instruments and lights."""

COASTING_FRACTION, COASTING_BLOCKS = 0.15, 6
"""Share of the power before up to which the craft loses way, and for how long."""


class BlockStore:
    """The blocks ridden, as of the last second."""

    def __init__(self) -> None:
        self._blocks: list[FloatArray] = []
        self._open: list[list[float]] = []
        """Seconds of the unfinished block."""
        self._still_s = 0

    @property
    def seconds_s(self) -> int:
        """Time under way that is stored [s]."""
        return len(self._blocks) * BLOCK_S + len(self._open)

    def fold(self, seconds: SettledSeconds) -> bool:
        """Fold in seconds, in order; return whether any of them was measured."""
        rows = _rows(seconds)
        for row in rows.tolist():
            if row[SPEED] > MOVING_MPS:
                self._ride(row)
            else:
                self._rest()
        return len(rows) > 0

    def blocks(self) -> FloatArray:
        """Return the blocks, shape (n, 7), oldest first; those with the drive off left out."""
        rows = [*self._blocks]
        if len(self._open) >= OPEN_LEAST_S:
            rows.append(block_of(self._open))
        return _under_power(np.array(rows).reshape(-1, COLUMNS))

    def _ride(self, row: list[float]) -> None:
        self._still_s = 0
        self._open.append(row)
        if len(self._open) == BLOCK_S:
            self._blocks.append(block_of(self._open))
            self._open.clear()
            del self._blocks[:-BLOCKS_MOST]

    def _rest(self) -> None:
        self._still_s += 1
        if self._still_s == STOP_S:
            self._drop_losing_way()

    def _drop_losing_way(self) -> None:
        """Drop the blocks in which the craft lost way until it stopped."""
        self._open.clear()
        for _ in range(LOSING_WAY_BLOCKS):
            if len(self._blocks) < 2:
                return
            before, last = self._blocks[-2:]
            if last[SPEED] > LOSING_WAY_FRACTION * before[SPEED]:
                return
            self._blocks.pop()


def _under_power(blocks: FloatArray) -> FloatArray:
    """Return the blocks without those in which the craft drifts or loses way.

    A craft whose power was cut makes way for a while: a range at what it then draws would be that
    of a drift. Slow riding at as little power counts once it has lasted.
    """
    most = float(blocks[:, POWER].max(initial=0.0))
    blocks = blocks[blocks[:, POWER] >= OFF_FRACTION * most]
    last = len(blocks)
    while last > 0 and len(blocks) - last <= COASTING_BLOCKS:
        before = blocks[max(last - 1 - COASTING_BLOCKS, 0) : last - 1, POWER]
        if not len(before) or blocks[last - 1, POWER] >= COASTING_FRACTION * median(before):
            return blocks[:last]
        last -= 1
    return blocks


def _rows(seconds: SettledSeconds) -> FloatArray:
    """Return the columns of the seconds with power, speed and voltage known, shape (k, 6)."""
    columns = (
        seconds.power_w, seconds.distance_m, seconds.volts_v, seconds.east_mps,
        seconds.north_mps, seconds.throttle_fraction,
    )  # fmt: skip
    rows = np.stack(columns, axis=1)
    # Without a course it is taken to ride straight on.
    no_course = ~np.isfinite(rows[:, [EAST, NORTH]]).all(axis=1)
    rows[no_course, EAST], rows[no_course, NORTH] = 0.0, rows[no_course, SPEED]
    return rows[np.isfinite(rows[:, : VOLTS + 1]).all(axis=1)]
