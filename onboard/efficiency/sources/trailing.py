"""For each second, some columns over the seconds before it: a bounded look back."""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.sources.settled_seconds import Cells


class Trailing:
    """Remembers the last seconds of some columns of the cells.

    Parameters
    ----------
    seconds
        How many seconds to look back on, the present one included.
    names
        Columns of `Cells`.
    """

    def __init__(self, seconds: int, *names: str) -> None:
        self._before = {name: np.full(seconds - 1, np.nan) for name in names}
        self._seconds = seconds

    def fold(self, cells: Cells) -> dict[str, FloatArray]:
        """Take in seconds in order; give for each its own past.

        Returns
        -------
        dict
            By name, shape (n, seconds): a row a second, the newest last; NaN where unknown.
        """
        past = {}
        for name, before in self._before.items():
            column = np.concatenate([before, getattr(cells, name)])
            past[name] = np.lib.stride_tricks.sliding_window_view(column, self._seconds)
            self._before[name] = column[len(column) - self._seconds + 1 :]
        return past
