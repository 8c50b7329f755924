"""Steady stretches: blocks of 20 s in which power, speed and course hold, after settling.

Waves of a few seconds average out within them; a throttle that is moved slowly by hand passes, as
the craft then follows without a lag that matters. The criterion looks at halves of ten seconds.
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.cells import Cells
from onboard.efficiency.chauvenet import kept

BLOCK_S, SETTLE_S = 20, 10
WINDOW_S = BLOCK_S + SETTLE_S

POWER_FRACTION, POWER_BEFORE_FRACTION = 0.12, 0.20
SPEED_MPS, SPEED_FRACTION = 0.08, 0.05
COURSE_DEG = 15.0
"""Halves of a block may differ by this much, and the ten seconds before it. Common practice, no
source: a small craft settles within seconds."""

SLOWEST_MPS = 0.4
UNKNOWN_MOST = 2


@dataclass(frozen=True)
class SteadyBlock:
    """One steady stretch: means, and the standard error of the power.

    Parameters
    ----------
    t_s
        Stream time at its end [s].
    power_w, power_sd_w
        Battery power, mean and standard error of the mean.
    east_mps, north_mps
        Velocity over ground.
    """

    t_s: float
    power_w: float
    power_sd_w: float
    east_mps: float
    north_mps: float


class SteadyFinder:
    """Finds steady blocks; they begin at whole multiples of `BLOCK_S` of stream time."""

    def __init__(self) -> None:
        self._rows = np.empty((0, 4))

    def fold(self, cells: Cells) -> list[SteadyBlock]:
        """Take in seconds in order; give the steady blocks that ended in them."""
        new = np.stack([cells.t_s, cells.power_w, cells.east_mps, cells.north_mps], axis=1)
        rows = np.concatenate([self._rows, new])
        self._rows = rows[-WINDOW_S + 1 :]
        found = []
        for end in np.flatnonzero(rows[:, 0] % BLOCK_S == 0).tolist():
            window = rows[max(end + 1 - WINDOW_S, 0) : end + 1]
            first_new = len(rows) - len(new)
            if end >= first_new and len(window) == WINDOW_S:
                block = steady_block(window)
                if block is not None:
                    found.append(block)
        return found


def steady_block(rows: FloatArray) -> SteadyBlock | None:
    """Give the block if it is steady.

    Parameters
    ----------
    rows
        Time, power, velocity east and north of `WINDOW_S` seconds, shape (30, 4).
    """
    if np.isnan(rows).any(axis=1).sum() > UNKNOWN_MOST or rows[-1, 0] - rows[0, 0] > WINDOW_S:
        return None
    # Two pieces of settling, so that a change within it does not average out, and two halves.
    pieces = (rows[:5], rows[5:10], rows[10:20], rows[20:])
    parts = [np.nanmean(part, axis=0) for part in pieces]
    power = np.array([part[1] for part in parts])
    speed = np.array([np.hypot(part[2], part[3]) for part in parts])
    middle_w, middle_mps = (power[2] + power[3]) / 2, (speed[2] + speed[3]) / 2
    if middle_mps < SLOWEST_MPS or middle_w <= 0:
        return None
    course = np.degrees(np.unwrap([np.arctan2(part[2], part[3]) for part in parts]))
    speed_limit = max(SPEED_MPS, SPEED_FRACTION * middle_mps)
    steady = (
        abs(power[3] - power[2]) < POWER_FRACTION * middle_w
        and np.abs(power[:2] - middle_w).max() < POWER_BEFORE_FRACTION * middle_w
        and abs(speed[3] - speed[2]) < speed_limit
        and np.abs(speed[:2] - middle_mps).max() < 1.5 * speed_limit
        and np.ptp(course) < COURSE_DEG
    )
    if not steady:
        return None
    block = rows[SETTLE_S:]
    block = block[~np.isnan(block).any(axis=1)]
    along = block[:, 2] * np.sin(np.radians(course[2])) + block[:, 3] * np.cos(
        np.radians(course[2])
    )
    block = block[kept(block[:, 1]) & kept(along)]
    means = block.mean(axis=0)
    return SteadyBlock(
        float(rows[-1, 0]), float(means[1]), standard_error(block[:, 1]), *means[2:].tolist()
    )


def standard_error(values: FloatArray) -> float:
    """Give the standard error of a mean of values that remember (first-order, n (1-r)/(1+r))."""
    off = values - values.mean()
    square = float(off @ off)
    if square <= 0:
        return 0.0
    memory = min(max(float(off[1:] @ off[:-1]) / square, 0.0), 0.95)
    return float(np.sqrt(square / (len(off) - 1) / len(off) * (1 + memory) / (1 - memory)))
