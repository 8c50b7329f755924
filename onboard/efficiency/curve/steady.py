"""Steady stretches: blocks of 20 s with steady power, speed and course, after 10 s of settling.

Waves of a few seconds average out within a block. A throttle moved slowly passes as steady, since
the craft then follows without a noticeable lag. The criterion compares the two halves of a block
with each other, and with both halves of the settling time before it.
"""

import math

import numpy as np
import numpy.typing as npt

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.meters.steadiness import (
    COURSE_SLOWEST_MPS,
    SETTLED_POWER_FRACTION,
    STEADY_COURSE_DEG,
    STEADY_POWER_FRACTION,
    STEADY_UNKNOWN_MOST,
    speed_tolerance_mps,
)
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.chauvenet import inliers

BLOCK_S, SETTLE_S = 20, 10
"""Length of a block and of the settling time before it [s]."""

WINDOW_S = BLOCK_S + SETTLE_S


@dataclass(frozen=True)
class SteadyBlock:
    """A steady stretch: means, and the standard error of the power.

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
    """Find steady blocks; they begin at whole multiples of `BLOCK_S` of stream time."""

    def __init__(self) -> None:
        self._rows = np.empty((0, 4))

    def fold(self, seconds: SettledSeconds) -> list[SteadyBlock]:
        """Fold in seconds in order; return the steady blocks that ended in them."""
        new = np.stack([seconds.t_s, seconds.power_w, seconds.east_mps, seconds.north_mps], axis=1)
        rows = np.concatenate([self._rows, new])
        first_new = len(rows) - len(new)
        self._rows = rows[-WINDOW_S + 1 :]
        ends = np.flatnonzero(rows[first_new:, 0] % BLOCK_S == 0) + first_new + 1
        ends = ends[ends >= WINDOW_S]
        if not len(ends):
            return []
        windows = rows[ends[:, None] + np.arange(-WINDOW_S, 0)]
        steady = np.flatnonzero(_are_steady(windows))
        return [_block(windows[n]) for n in steady.tolist()]


def _are_steady(windows: FloatArray) -> npt.NDArray[np.bool_]:
    """Return which windows are steady; shape (n, 30, 4): time, power, velocity east and north."""
    unknown = np.isnan(windows).any(axis=2)
    whole = unknown.sum(axis=1) <= STEADY_UNKNOWN_MOST
    whole &= windows[:, -1, 0] - windows[:, 0, 0] <= WINDOW_S
    # Two pieces of the settling time, so that a change within it does not average out; two halves.
    bounds = ((0, 5), (5, 10), (10, 20), (20, 30))
    known = ~np.isnan(windows[:, :, 1:])
    values = np.where(known, windows[:, :, 1:], 0.0)
    parts = np.stack(
        [values[:, a:b].sum(axis=1) / np.maximum(known[:, a:b].sum(axis=1), 1) for a, b in bounds],
        axis=1,
    )
    power, speed = parts[:, :, 0], np.hypot(parts[:, :, 1], parts[:, :, 2])
    middle_w, middle_mps = (power[:, 2] + power[:, 3]) / 2, (speed[:, 2] + speed[:, 3]) / 2
    course = np.unwrap(np.arctan2(parts[:, :, 1], parts[:, :, 2]), axis=1)
    speed_limit = speed_tolerance_mps(middle_mps)
    before_w = np.abs(power[:, :2] - middle_w[:, None]).max(axis=1)
    before_mps = np.abs(speed[:, :2] - middle_mps[:, None]).max(axis=1)
    steady: npt.NDArray[np.bool_] = (
        whole
        & (middle_mps >= COURSE_SLOWEST_MPS)
        & (middle_w > 0)
        & (np.abs(power[:, 3] - power[:, 2]) < STEADY_POWER_FRACTION * middle_w)
        & (before_w < SETTLED_POWER_FRACTION * middle_w)
        & (np.abs(speed[:, 3] - speed[:, 2]) < speed_limit)
        & (before_mps < 1.5 * speed_limit)
        & (np.degrees(np.ptp(course, axis=1)) < STEADY_COURSE_DEG)
    )
    return steady


def _block(rows: FloatArray) -> SteadyBlock:
    """Return the means of a steady window."""
    block = rows[SETTLE_S:]
    if math.isnan(block.sum()):
        block = block[~np.isnan(block).any(axis=1)]
    first_half = block[block[:, 0] <= rows[-1, 0] - BLOCK_S // 2]
    east, north = first_half[:, 2:].sum(axis=0).tolist()
    over_ground = math.hypot(east, north)
    along = block[:, 2] * (east / over_ground) + block[:, 3] * (north / over_ground)
    block = block[inliers(block[:, 1]) & inliers(along)]
    _, power_w, east_mps, north_mps = (block.sum(axis=0) / len(block)).tolist()
    return SteadyBlock(
        float(rows[-1, 0]), power_w, standard_error(block[:, 1]), east_mps, north_mps
    )


def standard_error(values: FloatArray) -> float:
    """Return the standard error of the mean of autocorrelated values.

    The effective sample size is n (1 - r) / (1 + r) with r the lag-one correlation.
    """
    off = values - values.sum() / len(values)
    square = float(off @ off)
    if square <= 0:
        return 0.0
    memory = min(max(float(off[1:] @ off[:-1]) / square, 0.0), 0.95)
    return float(np.sqrt(square / (len(off) - 1) / len(off) * (1 + memory) / (1 - memory)))
