"""Run the command `compare`."""

import argparse
from pathlib import Path

from groundside.reports.compare.compare_json import as_json
from groundside.reports.compare.compare_text import as_lines
from groundside.reports.compare.power_splits import pair_splits, setup_splits
from groundside.reports.compare.run_sheet import entries_of
from groundside.reports.compare.trial import run_trial
from groundside.reports.compare.trial_log import TrialLog, read_all, read_trial_log
from groundside.reports.log_progress import progress_bar, shifted, size_bytes
from groundside.reports.text_layout import print_report, printable
from groundside.words.units import units_named
from onboard.profile import profile_for


def run_compare(arguments: argparse.Namespace) -> int:
    """Compare set-ups and print the result; return the exit code.

    Raises
    ------
    WattwakeError
        If a sheet or a log cannot be used, or there is nothing to compare.
    """
    entries = entries_of(arguments.sheets)
    profile = profile_for(arguments.profile, entries[0].log)
    units = units_named(arguments.units or profile.units.speed)
    before_bytes = 0
    paths = list(dict.fromkeys(one.log for one in entries))
    with progress_bar(paths, "reading the runs' logs") as progress:

        def read(path: Path) -> TrialLog:
            nonlocal before_bytes
            shown = shifted(progress, before_bytes)
            before_bytes += size_bytes(path)
            return read_trial_log(path, profile, arguments.system_id, shown)

        logs = read_all(entries, read)
    trial = run_trial(logs, profile.sensors)
    splits = setup_splits(trial.comparison, profile.drive)
    pairs = pair_splits(trial.comparison, splits)
    print_report(
        arguments.json,
        lambda: as_json(trial, splits, pairs),
        map(printable, as_lines(trial, splits, pairs, units)),
    )
    return 0
