"""The files of a log, found by a path and read as one, and the facts of any saved log.

A session's record is one file, unless that was removed or damaged while being written: then the
record continues in a second file beside it.
"""

import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

from onboard.dataclass import dataclass
from onboard.errors import LogError

RECORD_NAME = "telemetry.tlog"
"""Name of the log in a session's folder; of the first one if there are several."""

MISSING_MOST = 10
"""Missing files named at most."""

_RECORD = re.compile(r"telemetry(?:-([1-9]\d{0,5}))?\.tlog")

Progress = Callable[[int], None]
"""Called as a log is read, with the bytes read so far."""


@dataclass(frozen=True)
class LogFacts:
    """Facts of a log, independent of its craft.

    Parameters
    ----------
    format
        Name of its row in `formats.FORMATS`.
    messages
        Number of frames or records.
    bad_bytes
        Bytes that belong to none.
    first_s
        Start of the log by the clock that stamped it [s since the Unix epoch]; None if unknown.
    duration_s
        Duration [s].
    size_bytes
        Size of the log, unpacked.
    receivers
        Instances of the GPS receivers in it, where the format numbers them.
    missing
        Files of the session's record that are gone.
    archive_damage
        `cut` or `checksum` if the log's archive is damaged; see `archives.UnpackedFacts`.
    """

    format: str
    messages: int
    bad_bytes: int
    first_s: float | None
    duration_s: float
    size_bytes: int
    receivers: tuple[int, ...] = ()
    missing: tuple[str, ...] = ()
    archive_damage: str = ""


def record_name(number: int) -> str:
    """Return the name of a session's first, second, ... file.

    Examples
    --------
    >>> record_name(1), record_name(2)
    ('telemetry.tlog', 'telemetry-2.tlog')
    """
    return RECORD_NAME if number == 1 else f"telemetry-{number}.tlog"


def record_files(folder: Path) -> list[Path]:
    """Return the files of a session's record, in their order; an empty list if there are none.

    Anything but a regular file is skipped: reading a pipe would block for ever.

    Raises
    ------
    OSError
        If the folder cannot be listed.
    """
    numbered = [(int(match[1] or 1), path) for path in folder.iterdir() if (match := _named(path))]
    return [path for _, path in sorted(numbered) if path.is_file()]


def missing_files(files: list[Path]) -> tuple[str, ...]:
    """Return the names of the files missing from a record, by the gaps in its numbers.

    Examples
    --------
    >>> missing_files([Path("one/telemetry-2.tlog"), Path("one/telemetry-4.tlog")])
    ('telemetry.tlog', 'telemetry-3.tlog')
    >>> missing_files([Path("one/telemetry.tlog")]), missing_files([Path("afternoon.tlog")])
    ((), ())
    """
    there = {int(match[1] or 1) for path in files if (match := _named(path))}
    lacking = (record_name(n) for n in range(1, max(there, default=0)) if n not in there)
    return tuple(islice(lacking, MISSING_MOST))


def _named(path: Path) -> re.Match[str] | None:
    return _RECORD.fullmatch(path.name)


def session_folder(path: Path) -> Path | None:
    """Return the session's folder of a path: itself, or that of its log; None for other files."""
    if path.is_dir():
        return path
    return path.parent if _named(path) else None


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Turn an error of the system while a file is read into a `LogError`."""
    try:
        yield
    except FileNotFoundError:
        raise LogError(f"{path}: no such file") from None
    except OSError as problem:
        raise LogError(f"{path}: cannot be read ({problem.strerror})") from None


def find_log(path: Path) -> list[Path]:
    """Return the files of a log: the file itself, or those of a session's folder.

    Raises
    ------
    LogError
        If there are none, or all are empty, or one cannot be read.
    """
    with reading(path):
        files = record_files(path) if path.is_dir() else [path]
    if not files:
        raise LogError(f"{path}: no {RECORD_NAME} in this folder: is it a session?")
    size_bytes = 0
    for file in files:
        with reading(file):
            size_bytes += file.stat().st_size
            file.open("rb").close()
    if not size_bytes:
        raise LogError(f"{files[0]}: the file is empty: expected a log")
    return files


def log_bytes(files: list[Path]) -> int:
    """Return the size of a log's files together [bytes].

    Raises
    ------
    OSError
        If one of them is gone.
    """
    return sum(file.stat().st_size for file in files)


_ARCHIVES = (b"\x1f\x8b", b"PK\x03\x04", b"PK\x05\x06")
"""First bytes of a gzip file, and of a zip archive, with files or empty."""


def is_archive(path: Path) -> bool:
    """Return whether a file is an archive, by its first bytes.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    with path.open("rb", buffering=0) as file:
        return file.read(4).startswith(_ARCHIVES)


def open_file(path: Path, buffering: int = -1) -> Any:
    """Open a file of a log to read its bytes; those of an archive are unpacked.

    Raises
    ------
    LogError
        If an archive holds no log.
    OSError
        If it cannot be read.
    """
    if is_archive(path):
        # Imported here: hardly any log needs it.
        from onboard.telemetry.logs.archives import Unpacked

        return Unpacked(path)
    return path.open("rb", buffering)


def content_facts(files: list[Path]) -> tuple[int, str]:
    """Return the size of a log [bytes], unpacked, and what is damaged of its archive.

    Raises
    ------
    LogError
        If a file cannot be read.
    """
    size_bytes, damage = 0, ""
    for file in files:
        with reading(file):
            if is_archive(file):
                from onboard.telemetry.logs.archives import unpacked_facts

                facts = unpacked_facts(file)
                size_bytes, damage = size_bytes + facts.size_bytes, damage or facts.damage
            else:
                size_bytes += file.stat().st_size
    return size_bytes, damage


@contextmanager
def opened(files: list[Path]) -> Iterator["JoinedFiles"]:
    """Open the files of a log, to be read as one, and close them on exit.

    Raises
    ------
    LogError
        If one of them cannot be opened, or read inside the context.
    """
    with reading(files[0]), ExitStack() as stack:
        yield JoinedFiles([stack.enter_context(open_file(file)) for file in files])


class JoinedFiles:
    """Open files read as if they were one.

    Parameters
    ----------
    files
        In their order.
    """

    def __init__(self, files: list[BinaryIO]) -> None:
        self._files = files
        self._at = 0

    def read(self, most_bytes: int = -1) -> bytes:
        """Return the next bytes, at most `most_bytes` of them, or all; b"" at the end."""
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
        """Go to an offset [bytes from the start]."""
        self._at, begin = 0, 0
        for number, file in enumerate(self._files):
            end = begin + file.seek(0, 2)
            if begin <= offset:
                self._at = number
            file.seek(min(max(offset, begin), end) - begin)
            begin = end

    @property
    def passed_bytes(self) -> int:
        """Bytes of the files read so far, as they are on disk."""
        return sum(getattr(file, "packed_bytes", None) or file.tell() for file in self._files)

    def tail(self, most_bytes: int) -> bytes:
        """Return the last bytes, at most `most_bytes` of them."""
        size = sum(file.seek(0, 2) for file in self._files)
        self.seek(max(size - most_bytes, 0))
        return self.read()
