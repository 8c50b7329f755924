"""Cut a block into pieces of stream time, so that an hour in one block is folded as a ride is."""

from collections.abc import Iterator

import numpy as np

from onboard.block import Block, Channel
from onboard.efficiency.meters.cumulative import CAPACITY

SLICE_S = 100.0
"""Length of a slice [s]: short against the past stored in the cumulative curves, long against a
live block."""

SAMPLES_MOST = CAPACITY
"""Slices are joined up to this many samples of a channel: the curves have spare capacity for as
many beyond the points they store."""


def slices(block: Block) -> Iterator[Block]:
    """Yield the block in pieces of one or more slices of `SLICE_S`, in order."""
    channels = {name: channel for name, channel in block.channels.items() if len(channel)}
    places, numbers = {}, set[float]()
    for name, channel in channels.items():
        # Late samples belong to the piece that they arrive in.
        reached = np.maximum.accumulate(np.nan_to_num(channel.t_s, nan=-np.inf))
        place = places[name] = np.floor(reached / SLICE_S)
        numbers |= {float(place[0]), *place[1:][place[1:] != place[:-1]].tolist()}
    if not places:
        return
    if len(numbers) == 1:
        yield block
        return
    # Where each slice ends in each channel.
    rising = sorted(numbers)
    ends = {name: np.searchsorted(places[name], rising, side="right") for name in channels}
    begin = dict.fromkeys(channels, 0)
    for n in range(len(numbers)):
        more = {name: int(ends[name][min(n + 1, len(numbers) - 1)]) for name in channels}
        if n + 1 < len(numbers) and max(more[c] - begin[c] for c in channels) <= SAMPLES_MOST:
            continue
        end = {name: int(ends[name][n]) for name in channels}
        piece = {
            name: Channel(
                channel.t_s[begin[name] : end[name]],
                {key: part[begin[name] : end[name]] for key, part in channel.columns.items()},
            )
            for name, channel in channels.items()
            if end[name] > begin[name]
        }
        yield Block(piece)
        begin = end
