"""Cursors: they walk through a saved log by time, and give what lies up to a place."""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.telemetry.frames import Frames
from onboard.telemetry.logs import open_log
from onboard.telemetry.stamps import steps_s
from onboard.telemetry.telemetry_log import TelemetryLog, stamps_s


class Cursor(Protocol):
    """A place in a log that moves forward."""

    @property
    def ended(self) -> bool:
        """Whether all is given."""

    @property
    def last_s(self) -> float:
        """Place of the last thing given [s from the log's start]."""

    def upto(self, place_s: float) -> Iterator[Frames | Block]:
        """Give what lies up to a place [s from the log's start]."""


def cursor(path: Path) -> tuple[Cursor, float]:
    """Give a cursor at the start of a log, and how long the log lasts [s].

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    log = open_log(path)
    length_s = log.length_s()
    if isinstance(log, TelemetryLog):
        return FrameCursor(log.parts()), length_s
    return BlockCursor(part for part in log.parts() if isinstance(part, Block)), length_s


class FrameCursor:
    """Walks through a telemetry log's frames by their stamps.

    Parameters
    ----------
    windows
        The log's frames; see `read_log`.
    """

    def __init__(self, windows: Iterator[Frames]) -> None:
        self._windows = windows
        self._window: Frames | None = None
        self._at = 0
        self._place_s: FloatArray = np.empty(0)
        self._stamp_s: float | None = None
        self._end_s = 0.0
        self.last_s = 0.0
        """Place of the last frame given [s from the log's first stamp]."""
        self._next_window()

    @property
    def ended(self) -> bool:
        """Whether all frames are given."""
        return self._window is None

    def upto(self, place_s: float) -> Iterator[Frames]:
        """Give the frames stamped up to a place [s from the log's first stamp]."""
        while self._window is not None:
            stop = int(np.searchsorted(self._place_s, place_s, side="right"))
            if stop > self._at:
                given = self._window.where(np.arange(self._at, stop))
                self.last_s = float(self._place_s[stop - 1])
                self._at = stop
                yield given
            if stop < len(self._window):
                return
            self._next_window()

    def _next_window(self) -> None:
        self._window, self._at = next(self._windows, None), 0
        if self._window is not None and len(self._window):
            stamps = stamps_s(self._window)
            before_s = float(stamps[0]) if self._stamp_s is None else self._stamp_s
            along = self._end_s + np.cumsum(steps_s(stamps, before_s))
            self._stamp_s, self._end_s = float(stamps[-1]), float(along[-1])
            # A frame out of order does not hold up what stands behind it.
            self._place_s = np.maximum.accumulate(np.maximum(along, self.last_s))
        else:
            self._place_s = np.empty(0)


class BlockCursor:
    """Walks through blocks of channels by their stream time.

    Parameters
    ----------
    blocks
        The log's blocks, in order.
    """

    def __init__(self, blocks: Iterator[Block]) -> None:
        self._blocks = blocks
        self._reached: dict[str, FloatArray] = {}
        self.last_s = 0.0
        self._next_block()

    @property
    def ended(self) -> bool:
        """Whether all is given."""
        return self._block is None

    def upto(self, place_s: float) -> Iterator[Block]:
        """Give what is timed up to a place [s from the log's start], in blocks."""
        while self._block is not None:
            piece, left = {}, False
            for name, channel in self._block.channels.items():
                first = self._at[name]
                stop = int(np.searchsorted(self._reached[name], place_s, side="right"))
                if stop > first:
                    columns = {key: column[first:stop] for key, column in channel.columns.items()}
                    piece[name] = Channel(channel.t_s[first:stop], columns)
                    self._at[name] = stop
                    self.last_s = max(self.last_s, float(self._reached[name][stop - 1]))
                left |= stop < len(channel)
            if piece:
                yield Block(piece)
            if left:
                return
            self._next_block()

    def _next_block(self) -> None:
        self._block = next(self._blocks, None)
        channels = {} if self._block is None else self._block.channels
        self._at = dict.fromkeys(channels, 0)
        # What is out of order does not hold up what stands behind it.
        self._reached = {
            name: np.maximum.accumulate(np.maximum(channel.t_s, 0.0))
            for name, channel in channels.items()
        }
