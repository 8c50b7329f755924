"""Cursors: they walk through a saved log by time, and give what lies up to a place.

A cursor can be copied where it stands, and the copy goes on from there by itself.
"""

import copy
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, Self

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.errors import LogError
from onboard.telemetry.logs.formats import open_log
from onboard.telemetry.logs.log_files import OpenLog, find_log
from onboard.telemetry.logs.telemetry_log import WINDOW_BYTES, TelemetryLog, stamps_s
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.stamps import steps_s


class Cursor(Protocol):
    """A place in a log that moves forward."""

    @property
    def ended(self) -> bool:
        """Whether all is given."""

    @property
    def last_s(self) -> float:
        """Place of the last thing given [s from the log's start]."""

    def upto(self, place_s: float) -> Iterator[Frames | Block]:
        """Return what lies up to a place [s from the log's start]."""

    def copied(self) -> Self:
        """Return a cursor at the same place, which holds nothing of the log itself."""


def cursor(path: Path) -> tuple[Cursor, float]:
    """Return a cursor at the start of a log, and how long the log lasts [s].

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    log = open_log(path)
    length_s = log.length_s()
    if isinstance(log, TelemetryLog):
        return FrameCursor(path), length_s
    return BlockCursor(part for part in log.parts() if isinstance(part, Block)), length_s


@dataclass
class _Window:
    """A window of a telemetry log, and all that is needed to read it again."""

    offset: int
    scanner: LogScanner
    stamp_s: float | None
    end_s: float
    last_s: float
    """Of the last thing given before it."""
    frames: Frames | None = None
    place_s: FloatArray = field(default_factory=lambda: np.empty(0))
    next: "_Window | None" = None


class FrameCursor:
    """Walks through a telemetry log's frames by their stamps.

    Parameters
    ----------
    path
        The log, or a session's folder.

    Raises
    ------
    LogError
        Here and later: if the log cannot be read, or holds no frame.
    """

    def __init__(self, path: Path) -> None:
        self._files = find_log(path)
        self._window: _Window | None = _Window(0, LogScanner(), None, 0.0, 0.0)
        self._at = 0
        self.last_s = 0.0
        """Place of the last frame given [s from the log's first stamp]."""
        self._read(self._window)

    @property
    def ended(self) -> bool:
        """Whether all frames are given."""
        return self._window is None

    def copied(self) -> "FrameCursor":
        """Return a cursor at the same place; it reads its window again when it goes on."""
        other = copy.copy(self)
        if self._window is not None:
            window = self._window
            other._window = _Window(
                window.offset,
                copy.copy(window.scanner),
                window.stamp_s,
                window.end_s,
                window.last_s,
            )
        return other

    def upto(self, place_s: float) -> Iterator[Frames]:
        """Return the frames stamped up to a place [s from the log's first stamp]."""
        while self._window is not None:
            frames = self._read(self._window)
            places = self._window.place_s
            stop = int(np.searchsorted(places, place_s, side="right"))
            if stop > self._at:
                given = frames.where(np.arange(self._at, stop))
                self.last_s = float(places[stop - 1])
                self._at = stop
                yield given
            if stop < len(frames):
                return
            self._window, self._at = self._window.next, 0

    def _read(self, window: _Window) -> Frames:
        """Read a window, unless that was done, and get ready for the one behind it."""
        if window.frames is not None:
            return window.frames
        try:
            with OpenLog(self._files) as file:
                file.seek(window.offset)
                data = file.read(WINDOW_BYTES)
        except OSError as problem:
            raise LogError(f"{self._files[0]}: cannot be read ({problem.strerror})") from None
        scanner = copy.copy(window.scanner)
        frames = scanner.push(data, final=not data)
        stamp_s, end_s = window.stamp_s, window.end_s
        if len(frames):
            stamps = stamps_s(frames)
            along = end_s + np.cumsum(steps_s(stamps, stamps[0] if stamp_s is None else stamp_s))
            stamp_s, end_s = float(stamps[-1]), float(along[-1])
            # A frame out of order does not hold up what stands behind it.
            window.place_s = np.maximum.accumulate(np.maximum(along, window.last_s))
        window.frames = frames
        if data:
            last_s = float(window.place_s[-1]) if len(frames) else window.last_s
            window.next = _Window(window.offset + len(data), scanner, stamp_s, end_s, last_s)
        elif not scanner.found:
            raise LogError(f"{self._files[0]}: no MAVLink frame in it: expected a telemetry log")
        return frames


class _SharedBlocks:
    """A log's blocks, read as they are asked for and kept: all copies of a cursor share them."""

    def __init__(self, blocks: Iterator[Block]) -> None:
        self._blocks = blocks
        self._kept: list[Block] = []
        self._reading = threading.Lock()

    def get(self, number: int) -> Block | None:
        """Return a block, None behind the last."""
        with self._reading:
            while len(self._kept) <= number:
                block = next(self._blocks, None)
                if block is None:
                    return None
                self._kept.append(block)
        return self._kept[number]


class BlockCursor:
    """Walks through blocks of channels by their stream time.

    Parameters
    ----------
    blocks
        The log's blocks, in order. They are kept: columns take less than the log.
    """

    def __init__(self, blocks: Iterator[Block]) -> None:
        self._shared = _SharedBlocks(blocks)
        self._number = -1
        self._at: dict[str, int] = {}
        self._reached: dict[str, FloatArray] = {}
        self.last_s = 0.0
        self._next_block()

    @property
    def ended(self) -> bool:
        """Whether all is given."""
        return self._block is None

    def copied(self) -> "BlockCursor":
        """Return a cursor at the same place."""
        other = copy.copy(self)
        other._at = dict(self._at)
        return other

    def upto(self, place_s: float) -> Iterator[Block]:
        """Return what is timed up to a place [s from the log's start], in blocks."""
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
        self._number += 1
        self._block = self._shared.get(self._number)
        channels = {} if self._block is None else self._block.channels
        self._at = dict.fromkeys(channels, 0)
        # What is out of order does not hold up what stands behind it.
        self._reached = {
            name: np.maximum.accumulate(np.maximum(channel.t_s, 0.0))
            for name, channel in channels.items()
        }
