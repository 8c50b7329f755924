"""Time between stamps of receipt, when the clock behind them may have been set meanwhile."""

import numpy as np

from onboard.block import FloatArray

SET_BACK_S = 10.0
"""A step back by more than this is a clock that was set back; less is frames out of order."""

LEAP_S = 86_400.0
"""A step of more than a day is a clock that was set forward, not a pause."""


def steps_s(stamp_s: FloatArray, before_s: float) -> FloatArray:
    """Return the time from each stamp to the next [s]; where the clock was set, nothing.

    Parameters
    ----------
    stamp_s
        Stamps in order of arrival [s], shape (n,).
    before_s
        The stamp before them [s].

    Examples
    --------
    >>> steps_s(np.array([10.0, 9.9, 12.0, 1.0, 4.0]), 10.0).round(3).tolist()
    [0.0, -0.1, 2.1, 0.0, 3.0]
    >>> steps_s(np.array([10.0, 5010.0, 10.4]), 10.0).round(3).tolist()
    [0.0, 0.0, 0.4]
    """
    steps: FloatArray = np.diff(stamp_s, prepend=before_s)
    # A single stamp far off, ahead or behind, is damaged: nothing covers it. Only the two steps
    # together count.
    off = np.flatnonzero((np.abs(steps[:-1]) > SET_BACK_S) & (np.abs(steps[:-1] + steps[1:]) < 1.0))
    for n in off.tolist():
        steps[n], steps[n + 1] = 0.0, steps[n] + steps[n + 1]
    steps[(steps < -SET_BACK_S) | (steps > LEAP_S)] = 0.0
    return steps
