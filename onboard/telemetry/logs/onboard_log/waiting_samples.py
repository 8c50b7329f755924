"""Decoded samples that wait for their stream time, released as the channels of a block."""

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.dataclass import dataclass
from onboard.telemetry.mavlink.checksum import Flags, Ints
from onboard.telemetry.messages.table import Columns


@dataclass(frozen=True)
class ChannelSamples:
    """Samples of one channel: the number of each one's timed record, and the columns."""

    channel: str
    number: Ints
    columns: Columns

    def where(self, chosen: Flags | Ints | slice) -> "ChannelSamples":
        """Return the chosen samples only."""
        columns = {name: column[chosen] for name, column in self.columns.items()}
        return ChannelSamples(self.channel, self.number[chosen], columns)


def joined(parts: list[ChannelSamples]) -> ChannelSamples:
    """Concatenate parts of one channel in the order of the file."""
    if len(parts) == 1:
        return parts[0]
    number = np.concatenate([part.number for part in parts])
    names = parts[0].columns
    columns = {name: np.concatenate([part.columns[name] for part in parts]) for name in names}
    whole = ChannelSamples(parts[0].channel, number, columns)
    if (number[1:] >= number[:-1]).all():
        return whole
    return whole.where(np.argsort(number, kind="stable"))


class Waiting:
    """Parts and times in the order of the file, released when both are settled."""

    def __init__(self) -> None:
        self._parts: list[ChannelSamples] = []
        self._t_s = np.empty(0)
        self.released = 0
        """Number of timed records released."""

    def add(self, parts: list[ChannelSamples], t_s: FloatArray) -> None:
        """Add parts, and the stream time of the next timed records."""
        self._parts += parts
        self._t_s = np.concatenate([self._t_s, t_s])

    def times_s(self, number: Ints) -> FloatArray:
        """Return the stream time of records not yet released [s]."""
        return self._t_s[number - self.released]

    @property
    def settled(self) -> int:
        """Number of timed records whose time is known."""
        return self.released + len(self._t_s)

    def release(self, until: int) -> Block:
        """Return the samples of records before a number, but for those without a time."""
        ready: dict[str, list[ChannelSamples]] = {}
        later: list[ChannelSamples] = []
        for part in self._parts:
            count = int(np.searchsorted(part.number, until))
            if count:
                ready.setdefault(part.channel, []).append(part.where(slice(0, count)))
            if count < len(part.number):
                later.append(part.where(slice(count, None)))
        channels = {}
        for name, parts in ready.items():
            part = joined(parts)
            t_s = self.times_s(part.number)
            timed = np.isfinite(t_s)
            if not timed.all():
                part, t_s = part.where(timed), t_s[timed]
            if len(t_s):
                channels[name] = Channel(t_s, part.columns)
        self._t_s = self._t_s[until - self.released :]
        self._parts, self.released = later, until
        return Block(channels)
