"""The files that a path means, read as one, and what any saved log says of itself.

A session's record is one file, unless that was taken away or spoilt while it was written: then the
record goes on in a second one beside it.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import BinaryIO, Self

from onboard.errors import LogError

RECORD_NAME = "telemetry.tlog"
"""The log in a session's folder; where it went on in others, the first."""

MISSING_MOST = 10
"""Missing files that are named."""

_RECORD = re.compile(r"telemetry(?:-([1-9]\d{0,5}))?\.tlog")

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
    missing
        Files of the session's record that are not there any more.
    """

    format: str
    messages: int
    bad_bytes: int
    first_s: float | None
    duration_s: float
    size_bytes: int
    receivers: tuple[int, ...] = ()
    missing: tuple[str, ...] = ()


def record_name(number: int) -> str:
    """Return the name of a session's first, second, ... file.

    Examples
    --------
    >>> record_name(1), record_name(2)
    ('telemetry.tlog', 'telemetry-2.tlog')
    """
    return RECORD_NAME if number == 1 else f"telemetry-{number}.tlog"


def record_files(folder: Path) -> list[Path]:
    """Return the files that a session's record consists of, in their order; none where none is.

    What is no file is passed over: a pipe would have its reader wait for ever.

    Raises
    ------
    OSError
        If the folder cannot be looked into.
    """
    numbered = [(int(found[1] or 1), path) for path in folder.iterdir() if (found := _named(path))]
    return [path for _, path in sorted(numbered) if path.is_file()]


def missing_files(files: list[Path]) -> tuple[str, ...]:
    """Return the names of those that lack among a record's files: the record went on behind them.

    Examples
    --------
    >>> missing_files([Path("one/telemetry-2.tlog"), Path("one/telemetry-4.tlog")])
    ('telemetry.tlog', 'telemetry-3.tlog')
    >>> missing_files([Path("one/telemetry.tlog")]), missing_files([Path("afternoon.tlog")])
    ((), ())
    """
    there = {int(found[1] or 1) for path in files if (found := _named(path))}
    lacking = (record_name(n) for n in range(1, max(there, default=0)) if n not in there)
    return tuple(islice(lacking, MISSING_MOST))


def _named(path: Path) -> re.Match[str] | None:
    return _RECORD.fullmatch(path.name)


def session_folder(path: Path) -> Path | None:
    """Return session's folder that a path means: itself, or that of its log; None for others."""
    if path.is_dir():
        return path
    return path.parent if _named(path) else None


def find_log(path: Path) -> list[Path]:
    """Return files of the log that a path means: the file itself, or those of a session's folder.

    Raises
    ------
    LogError
        If there is none, or all are empty, or one cannot be read.
    """
    log = path
    try:
        if not path.is_dir():
            files = [path]
        elif not (files := record_files(path)):
            raise LogError(f"{path}: no {RECORD_NAME} in this folder: is it a session?")
        size_bytes = 0
        for log in files:
            size_bytes += log.stat().st_size
            with log.open("rb"):
                pass
    except FileNotFoundError:
        raise LogError(f"{log}: no such file") from None
    except OSError as problem:
        raise LogError(f"{log}: cannot be read ({problem.strerror})") from None
    if not size_bytes:
        raise LogError(f"{files[0]}: the file is empty: expected a log")
    return files


def log_bytes(files: list[Path]) -> int:
    """Return how much a log's files hold together [bytes].

    Raises
    ------
    OSError
        If one of them is gone.
    """
    return sum(file.stat().st_size for file in files)


class OpenLog:
    """A log's files, opened, and read as if they were one. To be used in a `with`.

    Parameters
    ----------
    files
        In their order.

    Raises
    ------
    OSError
        Here and later: if one of them cannot be read.
    """

    def __init__(self, files: list[Path]) -> None:
        self._files: list[BinaryIO] = []
        try:
            for file in files:
                self._files.append(file.open("rb"))
        except OSError:
            self._close()
            raise
        self._at = 0

    def read(self, most_bytes: int = -1) -> bytes:
        """Return the next bytes: at most so many, or all; none at the end."""
        parts: list[bytes] = []
        left = most_bytes
        while left:
            part = self._files[self._at].read(left)
            if part:
                parts.append(part)
                left -= len(part) if most_bytes > 0 else 0
            elif self._at + 1 < len(self._files):
                self._at += 1
            else:
                break
        return b"".join(parts)

    def seek(self, offset: int) -> None:
        """Go to a place [bytes from the start]."""
        self._at, begin = 0, 0
        for number, file in enumerate(self._files):
            end = begin + file.seek(0, 2)
            if begin <= offset:
                self._at = number
            file.seek(min(max(offset, begin), end) - begin)
            begin = end

    def tail(self, most_bytes: int) -> bytes:
        """Return the last bytes: so many, or all where there are fewer."""
        size = sum(file.seek(0, 2) for file in self._files)
        self.seek(max(size - most_bytes, 0))
        return self.read()

    def _close(self) -> None:
        for file in self._files:
            file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._close()
