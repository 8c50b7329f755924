"""A reading that is held from one sample to the next, looked up at whole seconds."""

import numpy as np

from onboard.block import Block, FloatArray
from onboard.efficiency.latest import STALE_S

KEPT_S = 60.0
"""Longer than any second is waited for."""


class Held:
    """The past minute of one column.

    Parameters
    ----------
    channel, column
        Names as in `onboard.block.COLUMNS`.
    """

    def __init__(self, channel: str, column: str) -> None:
        self._channel, self._column = channel, column
        self._t_s = np.empty(0)
        self._value = np.empty(0)

    def fold(self, block: Block) -> None:
        """Take in a block."""
        channel = block.get(self._channel)
        if channel is None:
            return
        known = np.isfinite(channel[self._column]) & np.isfinite(channel.t_s)
        t_s = np.concatenate([self._t_s, channel.t_s[known]])
        value = np.concatenate([self._value, channel[self._column][known]])
        order = np.argsort(t_s, kind="stable")
        kept = order[t_s[order] > (t_s.max() if len(t_s) else 0.0) - KEPT_S]
        self._t_s, self._value = t_s[kept], value[kept]

    def at(self, t_s: FloatArray) -> FloatArray:
        """Give the last reading up to each time [s], shape (n,); NaN where it is stale."""
        place = np.searchsorted(self._t_s, t_s, side="right") - 1
        if not len(self._t_s):
            return np.full(len(t_s), np.nan)
        fresh = (place >= 0) & (t_s - self._t_s[place] <= STALE_S)
        return np.where(fresh, self._value[place], np.nan)
