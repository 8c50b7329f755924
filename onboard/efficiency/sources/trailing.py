"""The trailing window of each settled second: some columns over the seconds up to it."""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.sources.settled_seconds import SettledSeconds


class Trailing:
    """Keep the last seconds of some columns.

    Parameters
    ----------
    length_s
        Seconds in a window, its own second included.
    names
        Columns of `SettledSeconds`.
    """

    def __init__(self, length_s: int, *names: str) -> None:
        self._before = {name: np.full(length_s - 1, np.nan) for name in names}
        self._length_s = length_s

    def fold(self, seconds: SettledSeconds) -> dict[str, FloatArray]:
        """Fold settled seconds; return the window of each.

        Returns
        -------
        dict
            By name, shape (n, length_s): a row a second, the newest last; NaN where unknown.
        """
        past = {}
        for name, before in self._before.items():
            column = np.concatenate([before, getattr(seconds, name)])
            past[name] = np.lib.stride_tricks.sliding_window_view(column, self._length_s)
            self._before[name] = column[len(column) - self._length_s + 1 :]
        return past
