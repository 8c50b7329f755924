"""Finds the rides of a folder, and reads those records that the store does not know yet."""

import functools
import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from groundside.reports.progress import progress_bar
from groundside.reports.review.many import Reviewed, review_many, size_bytes
from groundside.reports.sessions.labels import read_label
from groundside.reports.sessions.setup_shares import (
    ChangesOf,
    SetupChange,
    setup_changes,
    setup_shares,
    start_setup,
)
from groundside.reports.sessions.store import Row, Say, SeasonStore, store_path
from groundside.studies.rides import SeasonRide, Sums
from onboard import __version__
from onboard.contract.codec import clean
from onboard.efficiency.curve.learner import PLAIN_SETUP
from onboard.errors import LogError, ProfileError, UsageError
from onboard.profile import Profile, profile_for
from onboard.record import marks
from onboard.record.sessions import read_session
from onboard.telemetry.logs.formats import is_log
from onboard.telemetry.logs.log_files import record_files

AT_REST_S = 60.0
"""A record that was written to within this may be written to again before its time stamp moves."""


@dataclass(frozen=True)
class Found:
    """A ride that was found.

    Parameters
    ----------
    path
        A session's folder, or a log.
    records
        The files that hold it all, in their order.
    changes
        The set-ups that were named, and when.
    setup
        The set-up in force at the start.
    number
        Of a session, its place among the others.
    is_open
        Whether it is a session that nobody closed, and the newest: an older one was cut off.
    """

    path: Path
    records: tuple[Path, ...]
    changes: tuple[SetupChange, ...] = ()
    setup: str = PLAIN_SETUP
    number: int = 0
    is_open: bool = False

    @property
    def key(self) -> str:
        """Return its name as text that any store takes, whatever bytes the file system has."""
        return os.fsencode(self.path.name).decode("utf-8", "backslashreplace")


def find_rides(directory: Path) -> list[Found]:
    """Return the sessions and logs that lie in a folder, in the order of their names.

    Parameters
    ----------
    directory
        The folder of all sessions, or one with logs.

    Raises
    ------
    UsageError
        If it cannot be looked into.
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
    found = [ride for path in paths if (ride := _found(path, changes_of)) is not None]
    newest = max((ride.number for ride in found), default=0)
    return [replace(ride, is_open=ride.is_open and ride.number == newest) for ride in found]


def _found(path: Path, changes_of: ChangesOf) -> Found | None:
    if path.name.startswith("."):
        return None
    if path.is_dir():
        return _found_session(path, changes_of)
    if not path.is_file():
        return None
    return Found(path, (path,)) if is_log(path) else None


def _found_session(path: Path, changes_of: ChangesOf) -> Found | None:
    try:
        records = tuple(record_files(path))
    except OSError:  # not ours to look into
        return None
    if not records:
        return None
    note = read_session(path)
    number, is_open = (0, False) if note is None else (note.number, not note.closed)
    setup = start_setup(path, note, changes_of)
    return Found(path, records, changes_of(path), setup, number, is_open)


def stamp_of(ride: Found) -> str:
    """Return what tells a ride's record from what it was before; empty where it is gone.

    A record and its marks only ever grow, so size and time of the last change do. The set-up at
    the start may come from the marks of the session before.
    """
    try:
        files = [record.stat() for record in ride.records]
    except OSError:
        return ""
    said: list[int] | None = None
    if ride.path not in ride.records:
        try:
            book = (ride.path / marks.FILE_NAME).stat()
            said = [book.st_size, book.st_mtime_ns]
        except OSError:
            said = None
    size_bytes = sum(file.st_size for file in files)
    return json.dumps([size_bytes, _changed_ns(files), said, ride.setup])


def _changed_ns(files: Iterable[os.stat_result]) -> int:
    return max(file.st_mtime_ns for file in files)


def fingerprint(profile: Profile) -> str:
    """Return what tells a profile from others that lead to other sums; another release may, too."""
    counted = (
        __version__,
        profile.battery,
        profile.sensors,
        profile.drive,
        profile.link.system_id,
    )
    return hashlib.sha256(repr(counted).encode()).hexdigest()[:16]


def gather(
    directory: Path, given: Path | None, *, rebuild: bool, now_s: float, say: Say
) -> list[SeasonRide]:
    """Return the rides of a folder; only what the store does not know is read.

    Parameters
    ----------
    directory
        The folder.
    given
        The craft profile that the figures are to be by; None: the one beside each record.
    rebuild
        Forget what is stored, and read everything again.
    now_s
        Wall clock [s since the Unix epoch].
    say
        Tells people what is wrong with the store.

    Raises
    ------
    UsageError
        If the folder cannot be looked into.
    """
    found = find_rides(directory)
    if not found:
        return []
    store = SeasonStore(store_path(directory), say)
    if rebuild:
        store.clear()
    stored = store.rows()
    stamps = {ride.key: stamp_of(ride) for ride in found}
    profiles = {ride.key: _profile_print(given, ride) for ride in found}
    known = {
        ride.key: stored[ride.key].sums
        for ride in found
        if ride.key in stored
        and stored[ride.key].stamp == stamps[ride.key]
        and stored[ride.key].profile == profiles[ride.key]
    }
    unread = [ride for ride in found if ride.key not in known]
    read = dict(_read(unread, given))
    rides = {ride.key: _listed(ride, known, read) for ride in found}
    fresh = [
        Row(ride.key, stamps[ride.key], profiles[ride.key], rides[ride.key].label, sums)
        for ride in unread
        if isinstance(sums := read[ride.key], Sums) and _at_rest(ride, stamps[ride.key], now_s)
    ]
    labels = {key: rides[key].label for key in known if stored[key].label != rides[key].label}
    store.update(fresh, stored.keys() - rides.keys(), labels)
    return list(rides.values())


def _profile_print(given: Path | None, ride: Found) -> str:
    try:
        return fingerprint(profile_for(given, ride.path))
    except ProfileError:
        if given is not None:
            raise
        return ""  # what is wrong with it is told when the record is to be read


def _read(rides: Sequence[Found], given: Path | None) -> Iterator[tuple[str, Sums | str]]:
    """Read records on all cores; give what each comes to, or why it cannot be read."""
    if not rides:
        return
    paths = [ride.path for ride in rides]
    what = f"reading {len(paths)} {'ride' if len(paths) == 1 else 'rides'}"
    with progress_bar(sum(map(size_bytes, paths)), what) as progress:
        reviewed = review_many(paths, functools.partial(profile_for, given), None, progress)
    for ride, one in zip(rides, reviewed, strict=True):
        yield ride.key, _sums(ride, one, given)


def _sums(ride: Found, reviewed: Reviewed, given: Path | None) -> Sums | str:
    if reviewed.result is None:
        return clean(reviewed.problem or "") or "it cannot be read"
    log, trip = reviewed.result.log, reviewed.result.trip
    sums = Sums(
        start_utc=log.start_utc,
        duration_s=log.duration_s,
        elapsed_s=trip.elapsed_s,
        moving_s=trip.moving_s,
        distance_m=trip.distance_m,
        energy_wh=trip.energy_wh,
        wh_per_km=trip.wh_per_km,
        mean_speed_mps=trip.mean_speed_mps,
        max_speed_mps=trip.max_speed_mps,
        mean_power_w=trip.mean_power_w,
    )
    try:
        profile = profile_for(given, ride.path)
        return replace(
            sums, shares=setup_shares(ride.path, profile, ride.setup, ride.changes, sums)
        )
    except (LogError, ProfileError) as problem:  # it was there a moment ago
        return str(problem)


def _at_rest(ride: Found, stamp: str, now_s: float) -> bool:
    """Return whether a record is one that nobody writes to.

    One that grew while it was read has another stamp by now, and is read again the next time.
    """
    if not stamp:
        return False
    changed_ns = _changed_ns(record.stat() for record in ride.records)
    return not ride.is_open or now_s - changed_ns * 1e-9 > AT_REST_S


def _listed(ride: Found, known: Mapping[str, Sums], read: Mapping[str, Sums | str]) -> SeasonRide:
    sums = known[ride.key] if ride.key in known else read[ride.key]
    label = read_label(ride.path)
    if isinstance(sums, str):
        return SeasonRide(ride.path, Sums(), label, ride.is_open, sums)
    return SeasonRide(ride.path, sums, label, ride.is_open)
