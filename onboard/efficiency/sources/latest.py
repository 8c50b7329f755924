"""The newest reading of each channel, with its time, so that it can go stale."""

import math

from onboard.block import Block
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.common_practice import STALE_READING_S


class Latest:
    """Keep the last row of each channel."""

    def __init__(self) -> None:
        self.now_s = 0.0
        """Stream time of the newest sample of any channel [s]."""
        self.first_s: float | None = None
        """Stream time of the first sample of any channel [s]."""
        self.silent_s = 0.0
        """Time since then without any sample, by the caller's clock [s]."""
        self._rows: dict[str, dict[str, float]] = {}
        self._t_s: dict[str, float] = {}

    @property
    def elapsed_s(self) -> float:
        """Stream time between the first sample and the newest [s]."""
        return self.now_s - (self.first_s or 0.0)

    def fold(self, block: Block) -> None:
        """Fold a block."""
        for name, channel in block.channels.items():
            if not len(channel):
                continue
            # Samples may come out of order.
            earliest_s, newest_s = float(channel.t_s.min()), float(channel.t_s.max())
            if self.first_s is None:
                self.first_s, self.now_s = earliest_s, newest_s
            self.first_s = min(self.first_s, earliest_s)
            self.now_s = max(self.now_s, newest_s)
            self._t_s[name] = float(channel.t_s[-1])
            self._rows[name] = {key: float(channel[key][-1]) for key in channel.columns}

    def value(self, *places: tuple[str, str]) -> Number:
        """Return the first known reading that is not stale among (channel, column) pairs."""
        why = Unknown(Reason.NOT_HEARD)
        for name, column in places:
            if name not in self._rows:
                continue
            age_s = self.now_s + self.silent_s - self._t_s[name]
            reading = self._rows[name][column]
            if age_s > STALE_READING_S:
                why = Unknown(Reason.QUIET, age_s=age_s)
            elif math.isnan(reading):
                why = Unknown(Reason.SAYS_UNKNOWN)
            else:
                return reading
        return why

    def at(self, channel: str, column: str) -> tuple[float, float] | None:
        """Return stream time [s] and value of a channel's last row at any age; None without."""
        if channel not in self._rows:
            return None
        return self._t_s[channel], self._rows[channel][column]
