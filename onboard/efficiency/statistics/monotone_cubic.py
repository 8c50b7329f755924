"""Monotone cubic interpolation: a smooth curve through rising points that also rises in between.

Its slope at a point is the weighted harmonic mean of the slopes on both sides.
"""

import numpy as np

from onboard.block import FloatArray


def interpolate(at: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return y at given x, shape (n,); beyond the ends the slope of the end continues.

    Parameters
    ----------
    at
        Where to evaluate, shape (n,).
    x, y
        Three or more points: x strictly rising, y rising, shape (k,).

    References
    ----------
    F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise cubic
    interpolants", SIAM J. Sci. Stat. Comput. 5 (1984); cited from memory.

    Examples
    --------
    >>> interpolate(np.array([0.5]), np.arange(3.0), np.arange(3.0)).tolist()
    [0.5]
    """
    width = np.diff(x)
    rise = np.diff(y) / width
    slope = np.empty(len(x))
    slope[0], slope[-1] = rise[0], rise[-1]
    before, after = width[:-1] + 2.0 * width[1:], 2.0 * width[:-1] + width[1:]
    flat = (rise[:-1] <= 0.0) | (rise[1:] <= 0.0)
    low, high = np.where(flat, 1.0, rise[:-1]), np.where(flat, 1.0, rise[1:])
    slope[1:-1] = np.where(flat, 0.0, (before + after) / (before / low + after / high))
    place = np.clip(np.searchsorted(x, at) - 1, 0, len(width) - 1)
    share = (at - x[place]) / width[place]
    inside = np.clip(share, 0.0, 1.0)
    bend = inside * (1.0 - inside) * width[place]
    steep, shallow = slope[place] - rise[place], slope[place + 1] - rise[place]
    cubic = y[place] + rise[place] * width[place] * inside
    cubic += bend * ((1.0 - inside) * steep - inside * shallow)
    beyond = (share - inside) * width[place]
    return cubic + beyond * np.where(share > 0.5, slope[place + 1], slope[place])
