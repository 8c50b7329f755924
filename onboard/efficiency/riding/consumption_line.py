"""The ride's own line of ln Wh/km over ln power, for riding too young to be measured.

Over the blocks of earlier riding, ln(P / v) is regressed on ln P, with a prior for the slope: ridge
regression, shrunk towards the prior instead of zero. With P proportional to v^n the slope is
1 - 1/n, two thirds for a cubic. Neighbouring blocks are alike, so `BLOCKS_EACH` of them count as
one observation.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.riding.common_practice import LINE_SD_FRACTION, LINE_SLOPE, LINE_SLOPE_SD

BLOCKS_LEAST, BLOCKS_EACH = 3, 6
"""Blocks needed for a line, and how many count as one observation."""


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
    x = np.log(power_w[drawing])
    y = x - np.log(speed_mps[drawing])
    x_mean, y_mean = float(x.mean()), float(y.mean())
    dx, dy = x - x_mean, y - y_mean
    observations = max(len(x) / BLOCKS_EACH, 1.0)
    # The prior's weight: the ratio of the variance about the line to that of the slope.
    ridge = LINE_SD_FRACTION**2 / LINE_SLOPE_SD**2
    squares = float(dx @ dx) / BLOCKS_EACH
    products = float(dx @ dy) / BLOCKS_EACH
    slope = (products + ridge * LINE_SLOPE) / (squares + ridge)
    residual = dy - slope * dx
    about = LINE_SD_FRACTION**2 + float(residual @ residual) / BLOCKS_EACH
    about = max(about / (observations + 1.0), LINE_SD_FRACTION**2)
    apart = ln_power - x_mean
    # The prediction variance of a regression: of a new observation, the mean, and the slope.
    variance = about * (1.0 + 1.0 / observations + apart**2 / (squares + ridge))
    return y_mean + slope * apart, variance
