"""The `compare` command."""

import argparse
import functools
import json
from pathlib import Path

from groundside.reports.compare.compare_json import as_json
from groundside.reports.compare.compare_text import as_lines
from groundside.reports.compare.power_splits import pair_splits, setup_splits
from groundside.reports.compare.run_sheet import entries_of
from groundside.reports.compare.trial import run_trial
from groundside.reports.compare.trial_log import ReadLog, read_all, read_log
from groundside.reports.log_profile import profile_for
from groundside.reports.progress import progress_bar
from groundside.reports.review.many import size_bytes
from groundside.reports.text_layout import printable
from groundside.words.units import units_named
from onboard.telemetry.logs.log_files import Progress


def run_compare(arguments: argparse.Namespace) -> int:
    """Compare set-ups and print what is found; give the exit code.

    Raises
    ------
    WattwakeError
        If a sheet or a log cannot be used, or there is nothing to compare.
    """
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


def _told(progress: Progress, before: int, done: int) -> None:
    progress(before + done)
