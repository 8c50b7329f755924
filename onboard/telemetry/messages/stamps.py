"""Time between stamps of receipt whose clock may have been set in between."""

import numpy as np

from onboard.block import FloatArray

SET_BACK_S = 10.0
"""Step back [s] from which the clock was set back; less is frames out of order."""

LEAP_S = 86_400.0
"""Step forward [s] from which the clock was set forward; less is a pause."""


def steps_s(stamp_s: FloatArray, before_s: float) -> FloatArray:
    """Return the step from each stamp to the next [s], 0 where the clock was set.

    Parameters
    ----------
    stamp_s
        Stamps in order of arrival [s], shape (n,).
    before_s
        The stamp before the first [s].

    Examples
    --------
    >>> steps_s(np.array([10.0, 9.9, 12.0, 1.0, 4.0]), 10.0).round(3).tolist()
    [0.0, -0.1, 2.1, 0.0, 3.0]
    >>> steps_s(np.array([10.0, 5010.0, 10.4]), 10.0).round(3).tolist()
    [0.0, 0.0, 0.4]
    """
    steps: FloatArray = np.diff(stamp_s, prepend=before_s)
    # A single outlier is damage, as no checksum covers the stamps: only the sum of its two steps
    # counts.
    off = np.flatnonzero((np.abs(steps[:-1]) > SET_BACK_S) & (np.abs(steps[:-1] + steps[1:]) < 1.0))
    for n in off.tolist():
        steps[n], steps[n + 1] = 0.0, steps[n] + steps[n + 1]
    steps[(steps < -SET_BACK_S) | (steps > LEAP_S)] = 0.0
    return steps
