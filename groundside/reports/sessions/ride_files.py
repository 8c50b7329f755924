"""The rides in a folder: sessions and logs, their files, and a fingerprint of each."""

import functools
import json
import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from groundside.reports.sessions.setup_shares import (
    ChangesOf,
    SetupChange,
    setup_changes,
    start_setup,
)
from onboard.dataclass import dataclass
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.errors import UsageError
from onboard.record import marks
from onboard.record.sessions import read_session
from onboard.telemetry.logs.formats import is_log
from onboard.telemetry.logs.log_files import record_files

AT_REST_S = 60.0
"""Age from which a record is trusted not to change under the same time stamp [s]."""


@dataclass(frozen=True)
class RideFiles:
    """A ride's files, and the set-ups recorded in them.

    Parameters
    ----------
    path
        A session's folder, or a log.
    records
        The files that make up the record, in order.
    changes
        The set-ups selected, with their times.
    setup
        The set-up in force at the start.
    number
        The session's number.
    is_open
        Whether this is the newest session and was not closed; an older one was cut off.
    """

    path: Path
    records: tuple[Path, ...]
    changes: tuple[SetupChange, ...] = ()
    setup: str = PLAIN_SETUP
    number: int = 0
    is_open: bool = False

    @property
    def key(self) -> str:
        """Return the name as valid text, whatever bytes it consists of."""
        return os.fsencode(self.path.name).decode("utf-8", "backslashreplace")


def find_rides(directory: Path) -> list[RideFiles]:
    """Return the sessions and logs of a folder, sorted by name.

    Parameters
    ----------
    directory
        The folder of all sessions, or one with logs.

    Raises
    ------
    UsageError
        If it cannot be listed.
    """
    try:
        paths = sorted(directory.iterdir())
    except FileNotFoundError:
        raise UsageError(f"{directory}: no such folder: give the one with your sessions") from None
    except NotADirectoryError:
        raise UsageError(f"{directory}: not a folder: give the one that it lies in") from None
    except OSError as problem:
        raise UsageError(f"{directory}: cannot be listed ({problem.strerror})") from None
    changes_of = functools.cache(setup_changes)
    rides = [ride for path in paths if (ride := _ride(path, changes_of)) is not None]
    newest = max((ride.number for ride in rides), default=0)
    return [replace(ride, is_open=ride.is_open and ride.number == newest) for ride in rides]


def _ride(path: Path, changes_of: ChangesOf) -> RideFiles | None:
    if path.name.startswith("."):
        return None
    if path.is_dir():
        return _session(path, changes_of)
    if path.is_file() and is_log(path):
        return RideFiles(path, (path,))
    return None


def _session(path: Path, changes_of: ChangesOf) -> RideFiles | None:
    try:
        records = tuple(record_files(path))
    except OSError:  # no permission to read
        return None
    if not records:
        return None
    note = read_session(path)
    number, is_open = (0, False) if note is None else (note.number, not note.closed)
    return RideFiles(
        path, records, changes_of(path), start_setup(path, changes_of), number, is_open
    )


def stamp_of(ride: RideFiles) -> str:
    """Return a fingerprint of a ride's files; empty if they are gone.

    Records and marks are append-only, so size and time of modification suffice. The set-up at the
    start is included because it may come from the previous session's marks.
    """
    try:
        files = [record.stat() for record in ride.records]
    except OSError:
        return ""
    marked: list[int] | None = None
    if ride.path not in ride.records:
        try:
            book = (ride.path / marks.FILE_NAME).stat()
            marked = [book.st_size, book.st_mtime_ns]
        except OSError:
            marked = None
    size_bytes = sum(file.st_size for file in files)
    return json.dumps([size_bytes, _modified_ns(files), marked, ride.setup])


def is_at_rest(ride: RideFiles, stamp: str, now_s: float) -> bool:
    """Return whether a record is no longer being written.

    A record that grew while it was read no longer matches its fingerprint, and is read again next
    time.

    Parameters
    ----------
    ride
        The ride.
    stamp
        Its fingerprint; see `stamp_of`.
    now_s
        Wall clock [s since the Unix epoch].
    """
    if not stamp:
        return False
    modified_ns = _modified_ns(record.stat() for record in ride.records)
    return not ride.is_open or now_s - modified_ns * 1e-9 > AT_REST_S


def _modified_ns(files: Iterable[os.stat_result]) -> int:
    return max(file.st_mtime_ns for file in files)
