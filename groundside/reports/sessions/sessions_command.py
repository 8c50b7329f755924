"""Run the command `sessions`."""

import argparse
import shutil
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from groundside.reports.sessions.filters import filter_from, newest_first
from groundside.reports.sessions.labels import read_label, write_label
from groundside.reports.sessions.ride_files import RideFiles, find_rides
from groundside.reports.sessions.season import read_season
from groundside.reports.sessions.sessions_output import as_json, as_lines, setup_lines
from groundside.reports.text_layout import print_report, printable
from groundside.studies.rides import SeasonRide
from groundside.words.units import Units, units_named
from onboard.errors import ProfileError, UsageError
from onboard.options import default_record
from onboard.profile import Profile, load_profile
from onboard.record import sessions


def run_sessions(arguments: argparse.Namespace) -> int:
    """List the season, or label one of its sessions; return the exit code.

    Raises
    ------
    UsageError, ProfileError
        If an input is missing or wrong.
    """
    wanted = filter_from(
        arguments.since,
        arguments.until,
        arguments.setup,
        arguments.label,
        arguments.longer_than_m,
    )
    profile = load_profile(arguments.profile) if arguments.profile else None
    folders = _folders(arguments.folders, profile)
    if arguments.set_label is not None:
        return _set_label(folders, *arguments.set_label)
    units = _units(arguments.units, profile, folders)
    every = newest_first(_read(folders, arguments))
    rides = [ride for ride in every if wanted.takes(ride)]
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    lines = (
        setup_lines(rides, units, width)
        if arguments.setups and rides
        else as_lines(rides, len(every), units, width)
    )
    print_report(arguments.json, lambda: as_json(rides, arguments.setups), lines)
    return 0


def _folders(given: Sequence[Path], profile: Profile | None) -> list[Path]:
    """Return the folders to list, each once."""
    if not given:
        usual = profile.record.directory if profile is not None else None
        folder = Path(usual or default_record()).expanduser()
        if not folder.is_dir():
            raise UsageError(f"{folder}: no sessions there yet: give the folder that holds yours")
        return [folder]
    for folder in given:
        if (folder / sessions.FILE_NAME).is_file():
            raise UsageError(f"{folder}: one session: give the folder that it lies in, or `review`")
    return list({folder.resolve(): folder for folder in given}.values())


def _read(folders: Sequence[Path], arguments: argparse.Namespace) -> list[SeasonRide]:
    rides = [
        ride
        for folder in folders
        for ride in read_season(
            folder, arguments.profile, rebuild=arguments.rebuild, now_s=time.time(), warn=_warn
        )
    ]
    if not rides:
        raise _none_found(folders)
    return rides


def _none_found(folders: Sequence[Path]) -> UsageError:
    names = ", ".join(str(folder) for folder in folders)
    return UsageError(f"{names}: no session and no log there: give the folder that holds yours")


def _warn(sentence: str) -> None:
    print(f"wattwake-groundside: {sentence}", file=sys.stderr, flush=True)


def _units(named: str | None, profile: Profile | None, folders: Sequence[Path]) -> Units:
    """Return the given units, else those of the newest profile in the folders."""
    if named is not None:
        return units_named(named)
    if profile is None:
        paths = [path for folder in folders for path in folder.glob("*/profile.toml")]
        paths += [path for folder in folders if (path := folder / "profile.toml").is_file()]
        try:
            profile = load_profile(max(paths, key=lambda path: path.stat().st_mtime))
        except (ValueError, OSError, ProfileError):
            profile = Profile()  # none, or an unreadable one, which is reported with its ride
    return units_named(profile.units.speed)


def _set_label(folders: Sequence[Path], session: str, label: str) -> int:
    rides = [ride for folder in folders for ride in find_rides(folder)]
    if not rides:
        raise _none_found(folders)
    ride = _matching_ride(rides, session)
    write_label(ride.path, label)
    stored = read_label(ride.path)
    print(f"{printable(ride.path.name, '')}: {f'labelled {stored}' if stored else 'no label'}")
    return 0


def _matching_ride(rides: Sequence[RideFiles], session: str) -> RideFiles:
    """Return the ride given by name, path or a unique prefix of its name."""
    place = Path(session).resolve()
    tests: tuple[Callable[[RideFiles], bool], ...] = (
        lambda ride: ride.path.name == session,
        lambda ride: ride.path.resolve() == place,
        lambda ride: bool(session) and ride.path.name.startswith(session),
    )
    for test in tests:
        matches = [ride for ride in rides if test(ride)]
        if len(matches) == 1:
            return matches[0]
        if matches:
            names = ", ".join(str(ride.path) for ride in matches[:4])
            raise UsageError(f"--set-label {session}: several are meant: {names}")
    raise UsageError(f"--set-label {session}: no such session: see `sessions` for their names")
