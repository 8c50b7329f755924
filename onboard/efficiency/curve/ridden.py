"""What rides took: the consumption of steady riding by speed over ground, as it was measured.

Sums in narrow bands of speed, so that rides add up. No water, no curve, no assumption: a plan is
shown beside them.
"""

from collections.abc import Iterable

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.curve.steady import BLOCK_S, SteadyBlock

BAND_MPS, BANDS_MOST = 0.1, 400
"""Width of a band of speed over ground [m/s], and the largest number of a band: a plan's speeds are
as far apart, and `SPEED_MOST_MPS` is in the last."""

COLUMNS = 4
"""Columns of the sums: number of the band, steady blocks, sum of Wh/km, sum of its squares."""

NEAR_BANDS = 0.75
"""Distance within which a band is at a speed, in widths of a band."""

BLOCKS_LEAST = 3
"""Fewest steady blocks, one minute, that tell what a speed took."""


@dataclass(frozen=True)
class Took:
    """The consumption of steady riding at about one speed over ground.

    Parameters
    ----------
    wh_per_km, sd_wh_per_km
        Mean, and standard deviation between its blocks: of several courses and days, if ridden.
    seconds_s
        Time of riding.
    """

    wh_per_km: float
    sd_wh_per_km: float
    seconds_s: float


def none_ridden() -> FloatArray:
    """Return the sums of no ride, shape (0, 4)."""
    return np.empty((0, COLUMNS))


def ridden(blocks: Iterable[SteadyBlock]) -> FloatArray:
    """Return the sums of steady blocks, by rising band, shape (n, 4).

    Examples
    --------
    >>> ridden([SteadyBlock(20.0, 144.0, 0.0, 2.04, 0.0)]).round(3).tolist()
    [[20.0, 1.0, 19.608, 384.468]]
    """
    rows = []
    for block in blocks:
        speed = float(np.hypot(block.east_mps, block.north_mps))
        wh_per_km = block.power_w / speed / 3.6
        rows.append((round(speed / BAND_MPS), 1.0, wh_per_km, wh_per_km**2))
    return together(none_ridden(), np.array(rows).reshape(-1, COLUMNS))


def together(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the sums of both."""
    rows = np.concatenate([one, other])
    bands, place = np.unique(rows[:, 0], return_inverse=True)
    sums = np.zeros((len(bands), COLUMNS))
    np.add.at(sums, place, rows)
    sums[:, 0] = bands
    return sums


def took(sums: FloatArray, speed_mps: float) -> Took | None:
    """Return what riding at a speed over ground took; None if hardly any was.

    Its band counts; between two, both do: other speeds took more or less.
    """
    near = sums[np.abs(sums[:, 0] - speed_mps / BAND_MPS) < NEAR_BANDS]
    count = float(near[:, 1].sum())
    if count < BLOCKS_LEAST:
        return None
    mean = float(near[:, 2].sum()) / count
    square = max(float(near[:, 3].sum()) / count - mean**2, 0.0)
    return Took(mean, (square * count / (count - 1.0)) ** 0.5, count * BLOCK_S)
