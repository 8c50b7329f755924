"""Saved logs: a telemetry log, or a session's folder that holds one, read in windows."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from onboard.errors import LogError
from onboard.telemetry.checksum import Ints
from onboard.telemetry.frames import Frames
from onboard.telemetry.scanner import LogScanner

WINDOW_BYTES = 1 << 20
"""Read this much at a time: memory stays bounded, and array operations dwarf their call's cost."""

CLOCK_SET_US = 86_400_000_000
"""A step of more than a day between two stamps is a clock that was set, not a pause."""

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


def read_log(path: Path, window_bytes: int = WINDOW_BYTES) -> Iterator[Frames]:
    """Give the frames of a telemetry log, window by window.

    Parameters
    ----------
    path
        The log, or a session's folder.
    window_bytes
        How much to read at a time [bytes]; the frames do not depend on it.

    Raises
    ------
    LogError
        If the file cannot be read, or holds no MAVLink frame.
    """
    log = find_log(path)
    scanner = LogScanner()
    found = 0
    try:
        with log.open("rb") as file:
            while True:
                data = file.read(window_bytes)
                frames = scanner.push(data, final=not data)
                found += len(frames)
                yield frames
                if not data:
                    break
    except OSError as problem:
        raise LogError(f"{log}: cannot be read ({problem.strerror})") from None
    if not found:
        raise LogError(f"{log}: no MAVLink frame in it: expected a telemetry log")


def forward_us(stamp_us: Ints, before_us: int) -> Ints:
    """Give the time between stamps [us]; a clock that was set back or leapt counts for nothing.

    Parameters
    ----------
    stamp_us
        Stamps in order [us], shape (n,).
    before_us
        The stamp before them [us].
    """
    steps: Ints = np.diff(stamp_us, prepend=before_us)
    steps[(steps < 0) | (steps > CLOCK_SET_US)] = 0
    return steps


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
    if 0 <= last_us - first_us <= CLOCK_SET_US:
        return (last_us - first_us) * 1e-6
    length_us, before_us = 0, first_us
    for frames in read_log(path):
        if len(frames):
            length_us += int(forward_us(frames.stamp_us, before_us).sum())
            before_us = int(frames.stamp_us[-1])
    return length_us * 1e-6
