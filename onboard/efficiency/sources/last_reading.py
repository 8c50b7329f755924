"""The last reading of a column, looked up at whole seconds."""

import numpy as np

from onboard.block import Block, FloatArray
from onboard.efficiency.common_practice import STALE_READING_S


class LastReading:
    """Carry the readings of one column forward until they are stale.

    Parameters
    ----------
    channel, column
        Names as in `onboard.block.COLUMNS`.
    """

    def __init__(self, channel: str, column: str) -> None:
        self._channel, self._column = channel, column
        self._t_s = np.empty(0)
        self._value = np.empty(0)
        self._new: list[tuple[FloatArray, FloatArray]] = []

    def fold(self, block: Block) -> None:
        """Fold a block."""
        channel = block.get(self._channel)
        if channel is not None:
            self._new.append((channel.t_s, channel[self._column]))

    def at(self, t_s: FloatArray) -> FloatArray:
        """Return the last reading up to each time [s], shape (n,); NaN where it is stale.

        Times must rise from call to call: older readings are dropped.
        """
        if not len(t_s):
            return np.empty(0)
        self._sort_in()
        if not len(self._t_s):
            return np.full(len(t_s), np.nan)
        place = np.searchsorted(self._t_s, t_s, side="right") - 1
        fresh = (place >= 0) & (t_s - self._t_s[place] <= STALE_READING_S)
        value: FloatArray = np.where(fresh, self._value[place], np.nan)
        oldest = int(np.searchsorted(self._t_s, t_s[-1] - STALE_READING_S))
        self._t_s, self._value = self._t_s[oldest:], self._value[oldest:]
        return value

    def _sort_in(self) -> None:
        if not self._new:
            return
        t_s = np.concatenate([self._t_s, *(part[0] for part in self._new)])
        value = np.concatenate([self._value, *(part[1] for part in self._new)])
        self._new.clear()
        known = np.flatnonzero(np.isfinite(value) & np.isfinite(t_s))
        order = known[np.argsort(t_s[known], kind="stable")]
        self._t_s, self._value = t_s[order], value[order]
