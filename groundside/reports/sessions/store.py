"""The season's store: what each record came to, in one SQLite file.

It is made from the records alone, so that one that is lost, damaged or of another version costs
no more than reading them again. It is open for moments only, never while records are read.
"""

import contextlib
import fcntl
import hashlib
import json
import os
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from groundside.studies.rides import Share, Sums
from onboard.contract.codec import WHY, ContractError, plain, read
from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import FILE_MODE

FILE_NAME = "season.sqlite"
SCHEMA = 2
"""To be raised with the tables, and whenever a figure means something else."""

BUSY_S = 5.0
"""Another program has the store for a few milliseconds."""

NUMBERS = (
    "duration_s",
    "elapsed_s",
    "moving_s",
    "mean_speed_mps",
    "max_speed_mps",
    "mean_power_w",
)
FIGURES = ("distance_m", "energy_wh", "wh_per_km")

_COLUMNS = (
    "name",
    "stamp",
    "profile",
    "label",
    "start_utc",
    *NUMBERS,
    *(f"{part}{figure}" for figure in FIGURES for part in ("", "low_", "high_")),
    "why",
)
_KINDS = {"name": "TEXT PRIMARY KEY", **dict.fromkeys(("stamp", "profile"), "TEXT NOT NULL")}
_TEXTS = ("label", "start_utc", "why")

_TABLES = (
    "CREATE TABLE ride ("
    + ", ".join(
        f"{name} {_KINDS.get(name, 'TEXT' if name in _TEXTS else 'REAL')}" for name in _COLUMNS
    )
    + ")",
    "CREATE TABLE share (name TEXT NOT NULL, place INTEGER NOT NULL, setup TEXT NOT NULL, "
    "energy_wh REAL, distance_m REAL, PRIMARY KEY (name, place))",
)
_PUT_RIDE = f"INSERT OR REPLACE INTO ride VALUES ({', '.join('?' * len(_COLUMNS))})"
_PUT_SHARE = "INSERT OR REPLACE INTO share VALUES (?, ?, ?, ?, ?)"
_OWN_FILES = ("", "-journal", "-wal", "-shm")

Answer = TypeVar("Answer")

Say = Callable[[str], None]
"""Tells people one line."""


@dataclass(frozen=True)
class Row:
    """A ride as it is stored.

    Parameters
    ----------
    name
        Of the session's folder or the log.
    stamp
        Tells a record from what it was before; see `gather.stamp_of`.
    profile
        Tells the profile that the figures are by from any other.
    label
        What the rider called it when it was last looked at: the truth lies beside the record.
    sums
        What the record came to.
    """

    name: str
    stamp: str
    profile: str
    label: str
    sums: Sums


class _NotOursError(Exception):
    """Its text says what is wrong with the file."""


def store_path(directory: Path) -> Path:
    """Return where a folder's store is: in it, or in the user's cache where it is read-only."""
    beside = directory / FILE_NAME
    if _writable(directory) and (not beside.exists() or _writable(beside)):
        return beside
    base = os.environ.get("XDG_CACHE_HOME") or ""
    # The XDG specification has relative paths ignored.
    cache = Path(base) if Path(base).is_absolute() else Path.home() / ".cache"
    digest = hashlib.sha256(os.fsencode(directory.resolve())).hexdigest()[:16]
    return cache / "wattwake" / f"season-{digest}.sqlite"


def _writable(path: Path) -> bool:
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


class SeasonStore:
    """One folder's store. Whatever is wrong with it is said once, and then it holds nothing.

    Parameters
    ----------
    path
        The file; made if it is not there.
    say
        Tells people what is wrong.
    """

    def __init__(self, path: Path, say: Say) -> None:
        self._path = path
        self._say = say
        self._given_up = False

    def rows(self) -> dict[str, Row]:
        """Return all that is stored, by name; a row that makes no sense is left out."""
        return self._with(_all_rows) or {}

    def update(self, rows: Iterable[Row], gone: Iterable[str], labels: Mapping[str, str]) -> None:
        """Store rides, forget those that are gone, and set labels that changed; all at once."""
        rows, gone = list(rows), list(gone)
        if rows or gone or labels:
            self._with(lambda store: _update(store, rows, gone, labels))

    def clear(self) -> None:
        """Forget everything."""
        self._with(_clear)

    def _with(self, work: Callable[[sqlite3.Connection], Answer]) -> Answer | None:
        """Do something with the store, sound and of this version; None where it cannot be had."""
        if self._given_up:
            return None
        try:
            make_own_folder(self._path.parent)
            with _alone(self._path.parent), contextlib.closing(self._sound()) as store:
                return work(store)
        except (OSError, sqlite3.Error) as problem:
            self._given_up = True
            what = problem.strerror if isinstance(problem, OSError) else problem
            self._say(f"{self._path}: {what}: going on without it, records are read each time")
            return None

    def _sound(self) -> sqlite3.Connection:
        try:
            return _connected(self._path)
        except _NotOursError as problem:
            old = self._path.with_name(self._path.name + ".old")
            self._say(f"{self._path} {problem}: made anew from the records (that one: {old.name})")
        # Put aside, not removed: the name may be somebody else's.
        for end in _OWN_FILES:
            with contextlib.suppress(FileNotFoundError):
                Path(f"{self._path}{end}").replace(f"{old}{end}")
        return _connected(self._path)


def _all_rows(store: sqlite3.Connection) -> dict[str, Row]:
    shares: dict[str, list[Share]] = {}
    for name, setup, energy_wh, distance_m in store.execute(
        "SELECT name, setup, energy_wh, distance_m FROM share ORDER BY name, place"
    ):
        share = Share(str(setup), _number(energy_wh), _number(distance_m))
        shares.setdefault(name, []).append(share)
    found = {}
    # The columns' names are written in this file.
    for values in store.execute(f"SELECT {', '.join(_COLUMNS)} FROM ride"):  # nosec B608
        stated = dict(zip(_COLUMNS, values, strict=True))
        with contextlib.suppress(TypeError, ValueError):
            row = _row(stated, tuple(shares.get(stated["name"], ())))
            found[row.name] = row
    return found


def _update(
    store: sqlite3.Connection, rows: list[Row], gone: list[str], labels: Mapping[str, str]
) -> None:
    with _transaction(store):
        old = [(name,) for name in [*gone, *(row.name for row in rows)]]
        store.executemany("DELETE FROM share WHERE name = ?", old)
        store.executemany("DELETE FROM ride WHERE name = ?", old)
        store.executemany(_PUT_RIDE, [_values(row) for row in rows])
        shares = [
            (row.name, place, share.setup, share.energy_wh, share.distance_m)
            for row in rows
            for place, share in enumerate(row.sums.shares)
        ]
        store.executemany(_PUT_SHARE, shares)
        called = [(label, name) for name, label in labels.items()]
        store.executemany("UPDATE ride SET label = ? WHERE name = ?", called)


def _clear(store: sqlite3.Connection) -> None:
    with _transaction(store):
        store.execute("DELETE FROM share")
        store.execute("DELETE FROM ride")


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Hold a folder's stores alone among our programs: one may be putting a bad one aside."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        deadline_s = time.monotonic() + BUSY_S
        while True:
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > deadline_s:
                    raise TimeoutError(0, "another program keeps it locked") from None
                time.sleep(0.01)
            except OSError:
                break  # a file system without locks
        yield
    finally:
        os.close(descriptor)


def _connected(path: Path) -> sqlite3.Connection:
    """Open a store, and make its tables where the file is empty.

    Raises
    ------
    _NotOursError
        If it is damaged or of another version.
    sqlite3.Error, OSError
        If it cannot be had now.
    """
    os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, FILE_MODE))
    store = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
    try:
        _check(store)
    except sqlite3.OperationalError:
        store.close()
        raise
    except sqlite3.DatabaseError:
        store.close()
        raise _NotOursError("is damaged") from None
    except BaseException:
        store.close()
        raise
    return store


def _check(store: sqlite3.Connection) -> None:
    def tables() -> set[str]:
        return {sql for (sql,) in store.execute("SELECT sql FROM sqlite_master WHERE sql NOTNULL")}

    if not tables() and not _version(store):
        with _transaction(store):
            # Another program that looks after no lock may have made them meanwhile.
            if not tables():
                for sql in _TABLES:
                    store.execute(sql)
                store.execute(f"PRAGMA user_version = {SCHEMA}")
    if _version(store) != SCHEMA or tables() != set(_TABLES):
        raise _NotOursError("is of another version")
    if store.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
        raise _NotOursError("is damaged")


def _version(store: sqlite3.Connection) -> int:
    return int(store.execute("PRAGMA user_version").fetchone()[0])


@contextlib.contextmanager
def _transaction(store: sqlite3.Connection) -> Iterator[None]:
    store.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        store.execute("ROLLBACK")
        raise
    store.execute("COMMIT")


def _values(row: Row) -> list[Any]:
    sums: dict[str, Any] = plain(row.sums)
    values: list[Any] = [row.name, row.stamp, row.profile, row.label, sums["start_utc"]]
    values += [sums[name] for name in NUMBERS]
    for name in FIGURES:
        figure: dict[str, Any] = sums[name] or {}
        values += [figure.get(key) for key in ("value", "low", "high")]
    return [*values, json.dumps(sums.get(WHY, {}))]


def _row(stated: dict[str, Any], shares: tuple[Share, ...]) -> Row:
    """Read a row.

    Raises
    ------
    TypeError, ValueError
        If it makes no sense: somebody else wrote it.
    """
    for name in ("name", "stamp", "profile", "label", "why"):
        if not isinstance(stated[name], str):
            raise TypeError(name)
    if not isinstance(why := json.loads(stated["why"]), dict):
        raise TypeError("why")
    if not isinstance(stated["start_utc"], str | None):
        raise TypeError("start_utc")
    raw = {name: stated[name] for name in ("start_utc", *NUMBERS)}
    raw |= {
        name: {"value": stated[name], "low": stated[f"low_{name}"], "high": stated[f"high_{name}"]}
        for name in FIGURES
    }
    sums = replace(read(Sums, {**raw, "shares": [], WHY: why}), shares=shares)
    return Row(stated["name"], stated["stamp"], stated["profile"], stated["label"], sums)


def _number(raw: object) -> float | None:
    """Return a share's number, None for all that is none."""
    try:
        return read(float, raw)
    except ContractError:
        return None
