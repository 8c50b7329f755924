"""The ride's own line of ln Wh/km over ln power, for riding too young to be measured.

Over the blocks of earlier riding, ln(P / v) is regressed on ln P, by least squares with a prior of
the slope (a ridge): P proportional to v^n gives the slope 1 - 1/n, two thirds for a cubic.
Neighbouring blocks are alike, so `BLOCKS_EACH` of them count as one observation.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.riding.common_practice import LINE_SD_FRACTION, LINE_SLOPE, LINE_SLOPE_SD

BLOCKS_LEAST, BLOCKS_EACH = 3, 6
"""Blocks needed for a line, and how many count as one."""


def line_at(
    power_w: FloatArray, speed_mps: FloatArray, ln_power: float
) -> tuple[float, float] | None:
    """Return ln of power over speed at a power, and its variance; None with too little riding.

    Parameters
    ----------
    power_w, speed_mps
        Of blocks ridden before, shape (n,).
    ln_power
        Where to read the line.
    """
    drawing = power_w > 0
    if int(drawing.sum()) < BLOCKS_LEAST:
        return None
    at = np.log(power_w[drawing])
    cost = at - np.log(speed_mps[drawing])
    middle, level = float(at.mean()), float(cost.mean())
    off = at - middle
    worth = max(len(at) / BLOCKS_EACH, 1.0)
    square = float(off @ off) / BLOCKS_EACH
    slope_worth = LINE_SD_FRACTION**2 / LINE_SLOPE_SD**2
    steep = float(off @ (cost - level)) / BLOCKS_EACH + slope_worth * LINE_SLOPE
    slope = steep / (square + slope_worth)
    residual = cost - level - slope * off
    variance = (LINE_SD_FRACTION**2 + float(residual @ residual) / BLOCKS_EACH) / (worth + 1.0)
    variance = max(variance, LINE_SD_FRACTION**2)
    apart = ln_power - middle
    return level + slope * apart, variance * (1.0 + 1.0 / worth + apart**2 / (square + slope_worth))
