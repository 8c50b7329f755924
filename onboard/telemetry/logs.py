"""Saved logs: a telemetry log, or a session's folder that holds one, read in windows."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from onboard.block import FloatArray
from onboard.errors import LogError
from onboard.telemetry.checksum import Flags
from onboard.telemetry.frames import Frames
from onboard.telemetry.scanner import LogScanner
from onboard.telemetry.stamps import LEAP_S, steps_s

WINDOW_BYTES = 1 << 20
"""Read this much at a time: memory stays bounded, and array operations dwarf their call's cost."""

END_BYTES = 1 << 16
"""Enough to hold many frames, whatever stands between them."""

RECORD_NAME = "telemetry.tlog"
"""The log in a session's folder."""


def find_log(path: Path) -> Path:
    """Give the log file that a path means: the file itself, or the one in a session's folder.

    Raises
    ------
    LogError
        If there is none, or it is empty or cannot be read.
    """
    log = path / RECORD_NAME if path.is_dir() else path
    try:
        if log.stat().st_size == 0:
            raise LogError(f"{log}: the file is empty: expected a telemetry log")
        with log.open("rb"):
            return log
    except FileNotFoundError:
        if log is not path:
            raise LogError(f"{path}: no {RECORD_NAME} in this folder: is it a session?") from None
        raise LogError(f"{path}: no such file") from None
    except OSError as problem:
        raise LogError(f"{log}: cannot be read ({problem.strerror})") from None


def read_log(
    path: Path,
    window_bytes: int = WINDOW_BYTES,
    *,
    wanted: Flags | None = None,
    progress: Callable[[int], None] | None = None,
) -> Iterator[Frames]:
    """Give the frames of a telemetry log, window by window.

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
    log = find_log(path)
    scanner = LogScanner(wanted=wanted)
    done = 0
    try:
        with log.open("rb") as file:
            while True:
                data = file.read(window_bytes)
                yield scanner.push(data, final=not data)
                done += len(data)
                if progress is not None:
                    progress(done)
                if not data:
                    break
    except OSError as problem:
        raise LogError(f"{log}: cannot be read ({problem.strerror})") from None
    if not scanner.found:
        raise LogError(f"{log}: no MAVLink frame in it: expected a telemetry log")


def stamps_s(frames: Frames) -> FloatArray:
    """Give the frames' stamps in seconds since the Unix epoch, shape (n,)."""
    return frames.stamp_us.astype(np.float64) * 1e-6


def log_span_us(path: Path) -> tuple[int, int]:
    """Give the first and last stamp of a log [us since the Unix epoch], reading only its ends.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no MAVLink frame.
    """
    first = next((frames for frames in read_log(path, END_BYTES) if len(frames)), None)
    if first is None:
        raise LogError(f"{path}: no MAVLink frame in it: expected a telemetry log")
    log = find_log(path)
    end_bytes = END_BYTES
    while True:
        with log.open("rb") as file:
            size = file.seek(0, 2)
            file.seek(max(size - end_bytes, 0))
            last = LogScanner(in_step=False).push(file.read(), final=True)
        if len(last) or end_bytes >= size:
            break
        end_bytes *= 8
    stamps = last.stamp_us if len(last) else first.stamp_us
    return int(first.stamp_us[0]), int(stamps[-1])


def log_length_s(path: Path) -> float:
    """Give how long a log lasts [s], reading all of it only where its clock was set meanwhile.

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
