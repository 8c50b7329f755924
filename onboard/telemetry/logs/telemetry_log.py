"""Telemetry logs, read in windows: before each frame an eight-byte stamp of its receipt."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from onboard.block import FloatArray
from onboard.errors import LogError
from onboard.telemetry.logs.log_files import (
    LogFacts,
    OpenLog,
    Progress,
    find_log,
    log_bytes,
    missing_files,
)
from onboard.telemetry.mavlink.checksum import Flags
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner
from onboard.telemetry.messages.stamps import LEAP_S, steps_s

WINDOW_BYTES = 1 << 20
"""Read this much at a time: memory stays bounded, and array operations dwarf their call's cost."""

END_BYTES = 1 << 16
"""Enough to hold many frames, whatever stands between them."""


def read_log(
    path: Path,
    window_bytes: int = WINDOW_BYTES,
    *,
    wanted: Flags | None = None,
    progress: Progress | None = None,
) -> Iterator[Frames]:
    """Return the frames of a telemetry log, window by window.

    Parameters
    ----------
    path
        The log, or a session's folder.
    window_bytes
        How much to read at a time [bytes]; the frames do not depend on it.
    wanted
        Whether a message is wanted, by its id, shape (65536,); None: all are. Which frames of the
        wanted ones are found does not depend on it.
    progress
        Called after each window with the bytes read so far.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no MAVLink frame.
    """
    files = find_log(path)
    scanner = LogScanner(wanted=wanted)
    done = 0
    try:
        with OpenLog(files) as file:
            while True:
                data = file.read(window_bytes)
                yield scanner.push(data, final=not data)
                done += len(data)
                if progress is not None:
                    progress(done)
                if not data:
                    break
    except OSError as problem:
        raise LogError(f"{files[0]}: cannot be read ({problem.strerror})") from None
    if not scanner.found:
        raise LogError(f"{files[0]}: no MAVLink frame in it: expected a telemetry log")


def stamps_s(frames: Frames) -> FloatArray:
    """Return the frames' stamps in seconds since the Unix epoch, shape (n,)."""
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
        raise LogError(f"{path}: no MAVLink frame in it: expected a telemetry log")
    end_bytes = END_BYTES
    with OpenLog(find_log(path)) as log:
        while True:
            tail = log.tail(end_bytes)
            last = LogScanner(in_step=False).push(tail, final=True)
            if len(last) or len(tail) < end_bytes:
                break
            end_bytes *= 8
    stamps = last.stamp_us if len(last) else first.stamp_us
    return int(first.stamp_us[0]), int(stamps[-1])


def log_length_s(path: Path) -> float:
    """Return how long a log lasts [s], reading all of it only where its clock was set meanwhile.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no MAVLink frame.
    """
    first_us, last_us = log_span_us(path)
    if 0 <= last_us - first_us <= LEAP_S * 1e6:
        return (last_us - first_us) * 1e-6
    length_s, before_s = 0.0, first_us * 1e-6
    for frames in read_log(path):
        if len(frames):
            stamps = stamps_s(frames)
            length_s += float(steps_s(stamps, before_s).sum())
            before_s = float(stamps[-1])
    return max(length_s, 0.0)


class TelemetryLog:
    """A telemetry log as a whole; see `logs.SavedLog`.

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
        self._last_s = self._length_s = 0.0

    def parts(self, progress: Progress | None = None) -> Iterator[Frames]:
        """Return the frames, window by window; see `read_log`."""
        for frames in read_log(self.path, progress=progress):
            self._note(frames)
            yield frames

    def _note(self, frames: Frames) -> None:
        self._messages += len(frames)
        self._bad_bytes += frames.bad_bytes
        if len(frames):
            stamps = stamps_s(frames)
            if self._first_s is None:
                self._first_s = self._last_s = float(stamps[0])
            self._length_s += float(steps_s(stamps, self._last_s).sum())
            self._last_s = float(stamps[-1])

    def facts(self) -> LogFacts:
        """Return what the parts read so far hold."""
        # Stamps are whole microseconds.
        length_s = round(max(self._length_s, 0.0), 6)
        files = find_log(self.path)
        return LogFacts(
            self.format,
            self._messages,
            self._bad_bytes,
            self._first_s,
            length_s,
            log_bytes(files),
            missing=missing_files(files) if self.path.is_dir() else (),
        )

    def length_s(self) -> float:
        """Return how long the log lasts [s], by its ends; see `log_length_s`."""
        return log_length_s(self.path)
