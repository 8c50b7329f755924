"""The season: a folder's rides and their sums, from the cache if a record has not changed."""

import functools
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from groundside.reports.log_progress import progress_bar
from groundside.reports.review.parallel_review import ReviewOutcome, review_logs
from groundside.reports.sessions.labels import read_label
from groundside.reports.sessions.ride_files import RideFiles, find_rides, is_at_rest, stamp_of
from groundside.reports.sessions.season_cache import CachedRow, SeasonCache, Warn, cache_path
from groundside.reports.sessions.setup_shares import setup_shares
from groundside.studies.rides import SeasonRide, Sums
from onboard import __version__
from onboard.contract.codec import clean
from onboard.errors import LogError, ProfileError
from onboard.profile import Profile, profile_for


def fingerprint(profile: Profile) -> str:
    """Return a fingerprint of what sums depend on besides the record: profile and version."""
    counted = (
        __version__,
        profile.battery,
        profile.sensors,
        profile.drive,
        profile.link.system_id,
    )
    return hashlib.sha256(repr(counted).encode()).hexdigest()[:16]


def read_season(
    directory: Path, given: Path | None, *, rebuild: bool, now_s: float, warn: Warn
) -> list[SeasonRide]:
    """Return the rides of a folder; read only the records that are not in the cache.

    Parameters
    ----------
    directory
        The folder.
    given
        The craft profile to compute with; None for the one beside each record.
    rebuild
        Whether to empty the cache first.
    now_s
        Wall clock [s since the Unix epoch].
    warn
        Shows the user a problem with the cache.

    Raises
    ------
    UsageError
        If the folder cannot be listed.
    """
    found = find_rides(directory)
    if not found:
        return []
    cache = SeasonCache(cache_path(directory), warn)
    if rebuild:
        cache.clear()
    cached = cache.rows()
    stamps = {ride.key: stamp_of(ride) for ride in found}
    profiles = {ride.key: _profile_fingerprint(given, ride) for ride in found}
    sums: dict[str, Sums | str] = {
        key: row.sums
        for key, row in cached.items()
        if (row.stamp, row.profile) == (stamps.get(key), profiles.get(key))
    }
    unread = [ride for ride in found if ride.key not in sums]
    current = set(sums)
    sums |= _read(unread, given)
    rides = {ride.key: _listed(ride, sums[ride.key]) for ride in found}
    fresh = [
        CachedRow(ride.key, stamps[ride.key], profiles[ride.key], rides[ride.key].label, read)
        for ride in unread
        if isinstance(read := sums[ride.key], Sums) and is_at_rest(ride, stamps[ride.key], now_s)
    ]
    labels = {key: rides[key].label for key in current if cached[key].label != rides[key].label}
    cache.update(fresh, cached.keys() - rides.keys(), labels)
    return list(rides.values())


def _profile_fingerprint(given: Path | None, ride: RideFiles) -> str:
    try:
        return fingerprint(profile_for(given, ride.path))
    except ProfileError:
        if given is not None:
            raise
        return ""  # reported when the record is read


def _read(rides: Sequence[RideFiles], given: Path | None) -> Iterator[tuple[str, Sums | str]]:
    """Read records on all cores; yield the sums of each, or why it cannot be read."""
    if not rides:
        return
    paths = [ride.path for ride in rides]
    what = f"reading {len(paths)} {'ride' if len(paths) == 1 else 'rides'}"
    with progress_bar(paths, what) as progress:
        outcomes = review_logs(paths, functools.partial(profile_for, given), None, progress)
    for ride, one in zip(rides, outcomes, strict=True):
        yield ride.key, _sums(ride, one, given)


def _sums(ride: RideFiles, outcome: ReviewOutcome, given: Path | None) -> Sums | str:
    if outcome.result is None:
        return clean(outcome.problem or "") or "it cannot be read"
    log, trip = outcome.result.log, outcome.result.trip
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
    except (LogError, ProfileError) as problem:  # readable a moment ago
        return str(problem)


def _listed(ride: RideFiles, sums: Sums | str) -> SeasonRide:
    label = read_label(ride.path)
    if isinstance(sums, str):
        return SeasonRide(ride.path, Sums(), label, ride.is_open, sums)
    return SeasonRide(ride.path, sums, label, ride.is_open)
