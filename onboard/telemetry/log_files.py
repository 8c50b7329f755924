"""The file that a path means, and what any saved log says of itself."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from onboard.errors import LogError

RECORD_NAME = "telemetry.tlog"
"""The log in a session's folder."""

Progress = Callable[[int], None]
"""Called as a log is read, with the bytes read so far."""


@dataclass(frozen=True)
class LogFacts:
    """What a log holds, whatever craft is in it.

    Parameters
    ----------
    format
        `telemetry` or `onboard`.
    messages
        How many.
    bad_bytes
        How many bytes form none.
    first_s
        When it begins, by the clock that stamped it [s since the Unix epoch]; None where none did.
    duration_s
        How long it lasts [s].
    size_bytes
        Of the file.
    receivers
        GPS receivers that it tells apart.
    """

    format: str
    messages: int
    bad_bytes: int
    first_s: float | None
    duration_s: float
    size_bytes: int
    receivers: tuple[int, ...] = ()


def session_folder(path: Path) -> Path | None:
    """Give the session's folder that a path means: itself, or that of its log; None for others."""
    if path.is_dir():
        return path
    return path.parent if path.name == RECORD_NAME else None


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
            raise LogError(f"{log}: the file is empty: expected a log")
        with log.open("rb"):
            return log
    except FileNotFoundError:
        if log is not path:
            raise LogError(f"{path}: no {RECORD_NAME} in this folder: is it a session?") from None
        raise LogError(f"{path}: no such file") from None
    except OSError as problem:
        raise LogError(f"{log}: cannot be read ({problem.strerror})") from None
