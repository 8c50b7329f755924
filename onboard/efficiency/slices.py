"""Cuts a block into pieces of stream time, so that an hour in one block is folded as a ride is."""

from collections.abc import Iterator

import numpy as np

from onboard.block import Block, Channel

SLICE_S = 10.0
"""Short against what the cumulative curves remember at any rate, long against a live block."""


def slices(block: Block) -> Iterator[Block]:
    """Give the block in pieces that each lie within one slice of `SLICE_S`; order is kept."""
    channels = {name: channel for name, channel in block.channels.items() if len(channel)}
    places = {}
    for name, channel in channels.items():
        # Late samples belong to the piece that they arrive in.
        reached = np.maximum.accumulate(np.nan_to_num(channel.t_s, nan=-np.inf))
        places[name] = np.floor(reached / SLICE_S)
    if not places:
        return
    numbers = np.unique(np.concatenate(list(places.values())))
    if len(numbers) == 1:
        yield block
        return
    for number in numbers.tolist():
        piece = {}
        for name, channel in channels.items():
            begin, end = np.searchsorted(places[name], [number, number + 0.5]).tolist()
            if end > begin:
                columns = {key: column[begin:end] for key, column in channel.columns.items()}
                piece[name] = Channel(channel.t_s[begin:end], columns)
        yield Block(piece)
