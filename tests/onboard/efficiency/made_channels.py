"""Channels of a block from the columns that matter; the others are unknown."""

import numpy as np

from onboard.block import COLUMNS, Channel


def channel(name: str, t_s, **columns) -> Channel:
    """Return a channel with all its columns, each given as an array or a constant, else NaN."""
    t_s = np.asarray(t_s, float)
    filled = {key: np.full(len(t_s), np.nan) for key in COLUMNS[name]}
    known = {key: np.broadcast_to(np.asarray(v, float), t_s.shape) for key, v in columns.items()}
    return Channel(t_s, filled | known)
