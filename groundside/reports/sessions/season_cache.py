"""The season's cache: each record's sums, in one JSON file.

It can be rebuilt from the records, so a cache that is lost, damaged or of another version costs
only one more reading of them. It is locked for moments only, never while records are read.
"""

import contextlib
import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, TypeVar

from groundside.studies.rides import Share, Sums
from onboard.contract.codec import WHY, ContractError, plain, read
from onboard.dataclass import dataclass
from onboard.files.file_lock import lock_file
from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import write_whole

FILE_NAME = "season.json"
SCHEMA = 3
"""Raise this when the layout or the meaning of a figure changes."""

BUSY_S = 5.0
"""Time to wait for another program, which needs the cache for milliseconds [s]."""

Answer = TypeVar("Answer")

Warn = Callable[[str], None]
"""Shows the user one line."""


@dataclass(frozen=True)
class CachedRow:
    """A ride as cached.

    Parameters
    ----------
    name
        Name of the session's folder or of the log.
    stamp
        Fingerprint of the record; see `ride_files.stamp_of`.
    profile
        Fingerprint of the profile used to compute the sums.
    label
        The rider's label as last listed; the label file is authoritative.
    sums
        The record's sums.
    """

    name: str
    stamp: str
    profile: str
    label: str
    sums: Sums


_ROW_KEYS = {field.name for field in fields(CachedRow)}
_SUMS_KEYS = {field.name for field in fields(Sums)}


class _UnusableError(Exception):
    """The file is not a cache of this version; the message gives the problem."""


def cache_path(directory: Path) -> Path:
    """Return the path of a folder's cache: in it, or in the user's cache if it is read-only."""
    beside = directory / FILE_NAME
    if is_writable(directory) and (not beside.exists() or is_writable(beside)):
        return beside
    base = os.environ.get("XDG_CACHE_HOME") or ""
    # The XDG Base Directory Specification requires relative paths to be ignored.
    cache = Path(base) if Path(base).is_absolute() else Path.home() / ".cache"
    digest = hashlib.sha256(os.fsencode(directory.resolve())).hexdigest()[:16]
    return cache / "wattwake" / f"season-{digest}.json"


def is_writable(path: Path) -> bool:
    """Return whether this process may write to a path."""
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


class SeasonCache:
    """One folder's cache. The first failure is reported; from then on it is empty.

    Parameters
    ----------
    path
        The file; made by the first update.
    warn
        Shows the user a problem with it.
    """

    def __init__(self, path: Path, warn: Warn) -> None:
        self._path = path
        self._warn = warn
        self._given_up = False

    def rows(self) -> dict[str, CachedRow]:
        """Return all rows by name, except malformed ones."""
        return self._locked(self._load) or {}

    def update(
        self, rows: Iterable[CachedRow], gone: Iterable[str], labels: Mapping[str, str]
    ) -> None:
        """Store rows, remove those that are gone, and set changed labels, in one transaction."""
        fresh = {row.name: row for row in rows}
        gone = set(gone)
        if fresh or gone or labels:
            self._locked(lambda: self._save(_merged(self._load(), fresh, gone, labels)))

    def clear(self) -> None:
        """Remove all rows."""
        self._locked(lambda: self._save({}) if self._load() else None)

    def _locked(self, work: Callable[[], Answer]) -> Answer | None:
        """Run `work` under the lock; return None if that is impossible."""
        if self._given_up:
            return None
        try:
            make_own_folder(self._path.parent)
            with _lock(self._path.parent):
                return work()
        except OSError as problem:
            self._given_up = True
            self._warn(
                f"{self._path}: {problem.strerror}: going on without it, records are read each time"
            )
            return None

    def _load(self) -> dict[str, CachedRow]:
        try:
            return _read_rows(self._path.read_bytes())
        except FileNotFoundError:
            return {}
        except _UnusableError as problem:
            # Renamed, not removed: the file may be somebody else's.
            old = self._path.with_name(f"{self._path.name}.old")
            self._warn(f"{self._path} {problem}: made anew from the records (that one: {old.name})")
            self._path.replace(old)
            return {}

    def _save(self, rows: Mapping[str, CachedRow]) -> None:
        stated = {"schema": SCHEMA, "rides": [plain(row) for row in rows.values()]}
        write_whole(self._path, json.dumps(stated, allow_nan=False))


def _merged(
    before: Mapping[str, CachedRow],
    fresh: Mapping[str, CachedRow],
    gone: set[str],
    labels: Mapping[str, str],
) -> dict[str, CachedRow]:
    rows = {name: row for name, row in before.items() if name not in gone} | dict(fresh)
    return {
        name: replace(row, label=labels[name]) if name in labels else row
        for name, row in rows.items()
    }


@contextlib.contextmanager
def _lock(folder: Path) -> Iterator[None]:
    """Lock a folder's cache against other programs of wattwake.

    Raises
    ------
    OSError
        If the folder cannot be opened, or stays locked for `BUSY_S`.
    """
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        try:
            lock_file(descriptor, BUSY_S)
        except BlockingIOError:
            raise TimeoutError(0, "another program keeps it locked") from None
        except OSError:
            pass  # a file system without locks
        yield
    finally:
        os.close(descriptor)


def _read_rows(raw: bytes) -> dict[str, CachedRow]:
    try:
        stated = json.loads(raw.decode())
    except (ValueError, RecursionError):
        raise _UnusableError("is damaged") from None
    known = isinstance(stated, dict) and stated.get("schema") == SCHEMA
    rides = stated.get("rides") if known else None
    if not isinstance(rides, list) or not all(map(_has_our_keys, rides)):
        raise _UnusableError("is of another version")
    found = {}
    for one in rides:
        with contextlib.suppress(TypeError, KeyError, ContractError):
            row = _row(one)
            found[row.name] = row
    return found


def _has_our_keys(row: Any) -> bool:
    return (
        isinstance(row, dict)
        and row.keys() == _ROW_KEYS
        and isinstance(row["sums"], dict)
        and row["sums"].keys() - {WHY} == _SUMS_KEYS
    )


def _row(stated: dict[str, Any]) -> CachedRow:
    """Read a row.

    Raises
    ------
    TypeError, KeyError, ContractError
        If it is malformed: another program wrote it.
    """
    sums: dict[str, Any] = stated["sums"]
    name, stamp, profile, label = texts = [
        stated[key] for key in ("name", "stamp", "profile", "label")
    ]
    setups = [share["setup"] for share in sums["shares"]]
    if not all(isinstance(text, str) for text in (*texts, *setups)):
        raise TypeError("not a text")
    if not isinstance(sums["start_utc"], str | None) or not isinstance(sums.get(WHY, {}), dict):
        raise TypeError("start_utc or why")
    shares = tuple(
        Share(one["setup"], _number(one["energy_wh"]), _number(one["distance_m"]))
        for one in sums["shares"]
    )
    read_sums = replace(read(Sums, sums | {"shares": []}), shares=shares)
    return CachedRow(name, stamp, profile, label, read_sums)


def _number(raw: object) -> float | None:
    """Return a share's number; None for anything else."""
    try:
        return read(float, raw)
    except ContractError:
        return None
