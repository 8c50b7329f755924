"""The command `sessions`."""

import argparse
import json
import shutil
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from groundside.options import add_units
from onboard.errors import ProfileError, UsageError
from onboard.options import Command, add_json, default_record, number_between
from onboard.profile import Profile, load_profile

if TYPE_CHECKING:
    from groundside.reports.sessions.gather import Found
    from groundside.studies.rides import SeasonRide
    from groundside.words.units import Units


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "folders",
        type=Path,
        nargs="*",
        metavar="DIR",
        help="where sessions or logs lie; without, where the daemon keeps its records",
    )
    parser.add_argument(
        "--since", metavar="DATE", help="begun on this day or later: YYYY-MM-DD, in UTC"
    )
    parser.add_argument("--until", metavar="DATE", help="begun on this day or earlier, in UTC")
    parser.add_argument("--setup", metavar="LABEL", help="ridden with this set-up")
    parser.add_argument("--label", metavar="TEXT", help="with this in the label")
    parser.add_argument(
        "--longer-than-m",
        type=number_between(0, 1e8),
        metavar="M",
        help="longer than this [m]",
    )
    parser.add_argument(
        "--setups", action="store_true", help="what was ridden with each set-up; no comparison"
    )
    parser.add_argument(
        "--set-label",
        nargs=2,
        metavar=("SESSION", "TEXT"),
        help="call a session something; an empty text takes that away",
    )
    parser.add_argument(
        "--rebuild", action="store_true", help="read every record again, whatever is stored"
    )
    parser.add_argument(
        "--profile", type=Path, metavar="FILE", help="craft profile (TOML) for all of them"
    )
    add_json(parser)
    add_units(parser)


def run_sessions(arguments: argparse.Namespace) -> int:
    """List the season, or label one of its sessions; return the exit code.

    Raises
    ------
    UsageError, ProfileError
        If something that is needed is missing or wrong.
    """
    from groundside.reports.sessions.filters import filter_from, newest_first

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
    rides = newest_first(_gathered(folders, arguments))
    _print([ride for ride in rides if wanted.takes(ride)], len(rides), units, arguments)
    return 0


def _folders(given: Sequence[Path], profile: Profile | None) -> list[Path]:
    """Return the folders to look into, each once."""
    from onboard.record import sessions

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


def _gathered(folders: Sequence[Path], arguments: argparse.Namespace) -> "list[SeasonRide]":
    from groundside.reports.sessions.gather import gather

    found = [
        ride
        for folder in folders
        for ride in gather(
            folder, arguments.profile, rebuild=arguments.rebuild, now_s=time.time(), say=_say
        )
    ]
    if not found:
        raise _nothing(folders)
    return found


def _nothing(folders: Sequence[Path]) -> UsageError:
    names = ", ".join(str(folder) for folder in folders)
    return UsageError(f"{names}: no session and no log there: give the folder that holds yours")


def _say(sentence: str) -> None:
    print(f"wattwake-groundside: {sentence}", file=sys.stderr, flush=True)


def _units(named: str | None, profile: Profile | None, folders: Sequence[Path]) -> "Units":
    """Return the rider's units: as asked for, else those of the newest profile kept there."""
    from groundside.words.units import units_named

    if named is not None:
        return units_named(named)
    if profile is None:
        kept = [path for folder in folders for path in folder.glob("*/profile.toml")]
        kept += [path for folder in folders if (path := folder / "profile.toml").is_file()]
        try:
            profile = load_profile(max(kept, key=lambda path: path.stat().st_mtime))
        except (ValueError, OSError, ProfileError):
            profile = Profile()  # none there, or none that can be read: told with its ride
    return units_named(profile.units.speed)


def _print(
    rides: "list[SeasonRide]", all_rides: int, units: "Units", arguments: argparse.Namespace
) -> None:
    from groundside.reports.sessions.listing import as_json, as_lines, setup_lines

    if arguments.json:
        print(json.dumps(as_json(rides, arguments.setups), indent=2, allow_nan=False))
        return
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    lines = (
        setup_lines(rides, units, width)
        if arguments.setups and rides
        else as_lines(rides, all_rides, units, width)
    )
    for line in lines:
        print(line)


def _set_label(folders: Sequence[Path], session: str, label: str) -> int:
    from groundside.reports.sessions.gather import find_rides
    from groundside.reports.sessions.labels import read_label, write_label
    from groundside.reports.sessions.listing import printable

    found = [ride for folder in folders for ride in find_rides(folder)]
    if not found:
        raise _nothing(folders)
    ride = _named(found, session)
    write_label(ride.path, label)
    kept = read_label(ride.path)
    print(f"{printable(ride.path.name)}: {f'labelled {kept}' if kept else 'no label'}")
    return 0


def _named(found: "Sequence[Found]", session: str) -> "Found":
    """Return the ride that a name, the beginning of one, or a path means."""
    place = Path(session).resolve()
    ways: tuple[Callable[[Found], bool], ...] = (
        lambda ride: ride.path.name == session,
        lambda ride: ride.path.resolve() == place,
        lambda ride: bool(session) and ride.path.name.startswith(session),
    )
    for way in ways:
        fitting = [ride for ride in found if way(ride)]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            names = ", ".join(str(ride.path) for ride in fitting[:4])
            raise UsageError(f"--set-label {session}: several are meant: {names}")
    raise UsageError(f"--set-label {session}: no such session: see `sessions` for their names")


SESSIONS: Final = Command(
    "sessions",
    "list, filter and label a season",
    "list, filter and label a season",
    "wattwake-groundside sessions --since 2025-06-01",
    add_arguments,
    run_sessions,
)
