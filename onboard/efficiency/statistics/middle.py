"""The median of a few values; numpy's own loads its masked arrays first."""

from collections.abc import Sequence

import numpy as np

from onboard.block import FloatArray


def median(values: FloatArray | Sequence[float]) -> float:
    """Return the median of one or more values.

    Examples
    --------
    >>> median([3.0, 1.0, 2.0]), median([4.0, 1.0, 2.0, 3.0])
    (2.0, 2.5)
    """
    rising = np.sort(values)
    middle = len(rising) // 2
    return float(rising[middle] + rising[-middle - 1]) / 2.0
