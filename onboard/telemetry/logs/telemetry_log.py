"""Telemetry logs: the frames of a link, each behind an eight-byte stamp of its receipt.

They are read in windows, so that memory stays bounded.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import numpy as np

from onboard.block import FloatArray
from onboard.errors import LogError
from onboard.telemetry.logs.log_files import (
    LogFacts,
    Progress,
    content_facts,
    find_log,
    missing_files,
    opened,
)
from onboard.telemetry.mavlink.checksum import Flags
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.stamps import LEAP_S, steps_s

WINDOW_BYTES = 1 << 20
"""Bytes read at a time: enough for array operations to dwarf the cost of their calls."""

_HEAD_BYTES = 4096
"""Bytes by which a file that is no log is named."""

END_BYTES = 1 << 16
"""Bytes at an end of a log to search for a frame first: enough for many of them."""


class Scanner(Protocol):
    """Finds the frames in the bytes of a log; it may be copied at any time."""

    @property
    def found(self) -> int:
        """Frames found so far."""

    def push(self, data: bytes, *, final: bool = False) -> Frames:
        """Return the frames that the bytes complete; `final`: no more bytes will come."""


def no_frame(path: Path) -> LogError:
    """Return the error of a log without a frame, with what it seems to be."""
    # Imported here: hardly any log needs it.
    from onboard.telemetry.logs.foreign import seems_to_be

    with opened(find_log(path)) as log:
        what = seems_to_be(log.read(_HEAD_BYTES))
    seems = f"it seems to be {what}; " if what else ""
    return LogError(
        f"{path}: no MAVLink frame in it; {seems}expected a telemetry log, a raw MAVLink stream or "
        "an on-board log"
    )


def read_log(
    path: Path,
    window_bytes: int = WINDOW_BYTES,
    *,
    wanted: Flags | None = None,
    scanner: Scanner | None = None,
    progress: Progress | None = None,
) -> Iterator[Frames]:
    """Return the frames of a telemetry log, window by window.

    Parameters
    ----------
    path
        The log, or a session's folder.
    window_bytes
        Bytes to read at a time; the frames do not depend on it.
    wanted
        Whether a message is wanted, by its id, shape (65536,); None: all are. It has no influence
        on which frames of the wanted messages are found.
    scanner
        Finds the frames; None for those behind stamps.
    progress
        Called after each window with the bytes read so far.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no MAVLink frame.
    """
    files = find_log(path)
    scanner = LogScanner(wanted=wanted) if scanner is None else scanner
    with opened(files) as log:
        while True:
            data = log.read(window_bytes)
            yield scanner.push(data, final=not data)
            if progress is not None:
                progress(log.passed_bytes)
            if not data:
                break
    if not scanner.found:
        raise no_frame(files[0])


def stamps_s(frames: Frames) -> FloatArray:
    """Return the frames' stamps [s since the Unix epoch], shape (n,)."""
    return frames.stamp_us.astype(np.float64) * 1e-6


def log_span_us(path: Path) -> tuple[int, int]:
    """Return the first and last stamp of a log [us since the Unix epoch], reading only its ends.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no MAVLink frame.
    """
    first = next((frames for frames in read_log(path, END_BYTES) if len(frames)), None)
    if first is None:
        raise no_frame(path)
    end_bytes = END_BYTES
    with opened(find_log(path)) as log:
        while True:
            tail = log.tail(end_bytes)
            last = LogScanner(in_step=False).push(tail, final=True)
            if len(last) or len(tail) < end_bytes:
                break
            end_bytes *= 8
    stamps = last.stamp_us if len(last) else first.stamp_us
    return int(first.stamp_us[0]), int(stamps[-1])


def log_length_s(path: Path) -> float:
    """Return the duration of a log [s]; reads all of it only where its clock was set meanwhile.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no MAVLink frame.
    """
    first_us, last_us = log_span_us(path)
    if 0 <= last_us - first_us <= LEAP_S * 1e6:
        return (last_us - first_us) * 1e-6
    log = TelemetryLog(path)
    for _ in log.parts():
        pass
    return log.duration_s


class TelemetryLog:
    """A whole telemetry log; see `formats.SavedLog`.

    Parameters
    ----------
    path
        The log, or a session's folder.
    """

    format = "telemetry"

    def __init__(self, path: Path) -> None:
        self.path = path
        self._messages = self._bad_bytes = 0
        self._first_s: float | None = None
        self._last_s = self._sum_s = 0.0

    def parts(self, progress: Progress | None = None) -> Iterator[Frames]:
        """Return the frames, window by window; see `read_log`."""
        for frames in self._frames(progress):
            self._messages += len(frames)
            self._bad_bytes += frames.bad_bytes
            if len(frames):
                stamps = stamps_s(frames)
                if self._first_s is None:
                    self._first_s = self._last_s = float(stamps[0])
                self._sum_s += float(steps_s(stamps, self._last_s).sum())
                self._last_s = float(stamps[-1])
            yield frames

    def _frames(self, progress: Progress | None) -> Iterator[Frames]:
        return read_log(self.path, progress=progress)

    @property
    def duration_s(self) -> float:
        """Duration of the parts read so far [s]."""
        return max(self._sum_s, 0.0)

    def facts(self) -> LogFacts:
        """Return the facts of the parts read so far."""
        files = find_log(self.path)
        size_bytes, damage = content_facts(files)
        return LogFacts(
            self.format,
            self._messages,
            self._bad_bytes,
            self._first_s,
            # Stamps are whole microseconds.
            round(self.duration_s, 6),
            size_bytes,
            missing=missing_files(files) if self.path.is_dir() else (),
            archive_damage=damage,
        )

    def length_s(self) -> float:
        """Return the duration of the log [s], by its ends; see `log_length_s`."""
        return log_length_s(self.path)
