"""Cursors walk through a saved log by time, for replays that pause, jump and go back.

A cursor can be copied at its present position; the copy advances independently.
"""

import copy
import threading
from collections.abc import Callable, Iterator
from dataclasses import field
from pathlib import Path
from typing import Protocol, Self

import numpy as np

from onboard.block import Block, Channel, FloatArray
from onboard.dataclass import dataclass
from onboard.telemetry.logs.log_files import (
    JoinedFiles,
    find_log,
    is_archive,
    open_file,
    opened,
    reading,
)
from onboard.telemetry.logs.telemetry_log import WINDOW_BYTES, Scanner, no_frame, stamps_s
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.stamps import steps_s


class Cursor(Protocol):
    """A position in a log that moves forward."""

    @property
    def ended(self) -> bool:
        """Whether everything has been returned."""

    @property
    def last_s(self) -> float:
        """Place of the last item returned [s from the log's start]."""

    def upto(self, place_s: float) -> Iterator[Frames | Block]:
        """Return everything from here to a place [s from the log's start]."""

    def copied(self) -> Self:
        """Return a cursor at the same place that holds none of the log's data."""


@dataclass
class _Window:
    """A window of a telemetry log, with the state needed to reread it."""

    offset: int
    scanner: Scanner
    stamp_s: float | None
    end_s: float
    last_s: float
    """Place of the last frame before it."""
    frames: Frames | None = None
    place_s: FloatArray = field(default_factory=lambda: np.empty(0))
    next: "_Window | None" = None


class _LogBytes:
    """The bytes of a log at any place; all copies of a cursor share them.

    An archive stays open: opened anew, it would be unpacked from its start for every window.
    """

    def __init__(self, files: list[Path]) -> None:
        self._files = files
        self._archive: JoinedFiles | None = None
        self._reading = threading.Lock()
        with reading(files[0]):
            if any(map(is_archive, files)):
                self._archive = JoinedFiles([open_file(file) for file in files])

    def at(self, offset: int) -> bytes:
        """Return the bytes of a window from an offset on."""
        if self._archive is None:
            with opened(self._files) as log:
                log.seek(offset)
                return log.read(WINDOW_BYTES)
        with self._reading, reading(self._files[0]):
            self._archive.seek(offset)
            return self._archive.read(WINDOW_BYTES)


class FrameCursor:
    """Walk through the frames of a telemetry log by their stamps.

    Parameters
    ----------
    path
        The log, or a session's folder.
    make_scanner
        Makes the scanner that finds its frames.

    Raises
    ------
    LogError
        Here and later: if the log cannot be read, or holds no frame.
    """

    def __init__(self, path: Path, make_scanner: Callable[[], Scanner] = LogScanner) -> None:
        self._files = find_log(path)
        self._bytes = _LogBytes(self._files)
        self._window: _Window | None = _Window(0, make_scanner(), None, 0.0, 0.0)
        self._at = 0
        self.last_s = 0.0
        """Place of the last frame returned [s from the log's first stamp]."""
        self._read(self._window)

    @property
    def ended(self) -> bool:
        """Whether all frames have been returned."""
        return self._window is None

    def copied(self) -> "FrameCursor":
        """Return a cursor at the same position; it rereads its window when it advances."""
        twin = copy.copy(self)
        if self._window is not None:
            window = self._window
            twin._window = _Window(
                window.offset,
                copy.deepcopy(window.scanner),
                window.stamp_s,
                window.end_s,
                window.last_s,
            )
        return twin

    def upto(self, place_s: float) -> Iterator[Frames]:
        """Return the frames stamped up to a place [s from the log's first stamp]."""
        while self._window is not None:
            frames = self._read(self._window)
            places = self._window.place_s
            stop = int(np.searchsorted(places, place_s, side="right"))
            if stop > self._at:
                passed = frames.where(np.arange(self._at, stop))
                self.last_s = float(places[stop - 1])
                self._at = stop
                yield passed
            if stop < len(frames):
                return
            self._window, self._at = self._window.next, 0

    def _read(self, window: _Window) -> Frames:
        """Read a window, unless it has been read, and prepare the next one."""
        if window.frames is not None:
            return window.frames
        data = self._bytes.at(window.offset)
        scanner = copy.deepcopy(window.scanner)
        frames = scanner.push(data, final=not data)
        stamp_s, end_s = window.stamp_s, window.end_s
        if len(frames):
            stamps = stamps_s(frames)
            along = end_s + np.cumsum(steps_s(stamps, stamps[0] if stamp_s is None else stamp_s))
            stamp_s, end_s = float(stamps[-1]), float(along[-1])
            # A frame out of order does not hold back those behind it.
            window.place_s = np.maximum.accumulate(np.maximum(along, window.last_s))
        window.frames = frames
        if data:
            last_s = float(window.place_s[-1]) if len(frames) else window.last_s
            window.next = _Window(window.offset + len(data), scanner, stamp_s, end_s, last_s)
        elif not scanner.found:
            raise no_frame(self._files[0])
        return frames


class _SharedBlocks:
    """Blocks of a log, read on demand and cached; all copies of a cursor share them."""

    def __init__(self, blocks: Iterator[Block]) -> None:
        self._blocks = blocks
        self._blocks_read: list[Block] = []
        self._reading = threading.Lock()

    def get(self, number: int) -> Block | None:
        """Return a block, None behind the last."""
        with self._reading:
            while len(self._blocks_read) <= number:
                block = next(self._blocks, None)
                if block is None:
                    return None
                self._blocks_read.append(block)
        return self._blocks_read[number]


class BlockCursor:
    """Walk through blocks of channels by their stream time.

    Parameters
    ----------
    blocks
        The log's blocks, in order. They are cached: columns take less memory than the log.
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
        """Whether everything has been returned."""
        return self._block is None

    def copied(self) -> "BlockCursor":
        """Return a cursor at the same place."""
        twin = copy.copy(self)
        twin._at = dict(self._at)
        return twin

    def upto(self, place_s: float) -> Iterator[Block]:
        """Return the samples timed up to a place [s from the log's start], in blocks."""
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
        # A sample out of order does not hold back those behind it.
        self._reached = {
            name: np.maximum.accumulate(np.maximum(channel.t_s, 0.0))
            for name, channel in channels.items()
        }
