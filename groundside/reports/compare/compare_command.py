"""The command `compare`."""

import argparse
import functools
import json
from pathlib import Path
from typing import TYPE_CHECKING, Final

from groundside.options import add_units
from onboard.options import Command, add_json, add_profile, add_system_id
from onboard.profile import profile_for

if TYPE_CHECKING:
    from onboard.telemetry.logs.log_files import Progress


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "sheets",
        type=Path,
        nargs="+",
        metavar="SHEET",
        help="run sheet (TOML: [[run]] with setup, log and, if you like, start_s and end_s in "
        "seconds from the log's first stamp; or CSV with these columns), or sessions with marks",
    )
    add_profile(parser)
    add_system_id(parser)
    add_json(parser)
    add_units(parser)


def run_compare(arguments: argparse.Namespace) -> int:
    """Compare set-ups and print what is found; return the exit code.

    Raises
    ------
    WattwakeError
        If a sheet or a log cannot be used, or there is nothing to compare.
    """
    from groundside.reports.compare.compare_json import as_json
    from groundside.reports.compare.compare_text import as_lines
    from groundside.reports.compare.power_splits import pair_splits, setup_splits
    from groundside.reports.compare.run_sheet import entries_of
    from groundside.reports.compare.trial import run_trial
    from groundside.reports.compare.trial_log import ReadLog, read_all, read_log
    from groundside.reports.progress import progress_bar
    from groundside.reports.review.many import size_bytes
    from groundside.reports.text_layout import printable
    from groundside.words.units import units_named

    entries = entries_of(arguments.sheets)
    profile = profile_for(arguments.profile, entries[0].log)
    units = units_named(arguments.units or profile.units.speed)
    paths = list(dict.fromkeys(one.log for one in entries))
    before = 0
    with progress_bar(sum(map(size_bytes, paths)), "reading the runs' logs") as progress:

        def read(path: Path) -> ReadLog:
            nonlocal before
            told = None if progress is None else functools.partial(_told, progress, before)
            before += size_bytes(path)
            return read_log(path, profile, arguments.system_id, told)

        logs = read_all(entries, read)
    trial = run_trial(logs, profile.sensors)
    splits = setup_splits(trial.comparison, profile.drive)
    pairs = pair_splits(trial.comparison, splits)
    if arguments.json:
        print(json.dumps(as_json(trial, splits, pairs), indent=2, allow_nan=False))
    else:
        for line in as_lines(trial, splits, pairs, units):
            print(printable(line))
    return 0


def _told(progress: "Progress", before: int, done: int) -> None:
    progress(before + done)


COMPARE: Final = Command(
    "compare",
    "tell which set-up is better, at equal battery power",
    "tell which set-up is better, at equal battery power",
    "wattwake-groundside compare propellers.toml",
    add_arguments,
    run_compare,
)
