"""Run the command `compare`."""

import argparse
from pathlib import Path

from groundside.reports.compare.compare_json import as_json
from groundside.reports.compare.compare_page import compare_page
from groundside.reports.compare.compare_text import as_lines
from groundside.reports.compare.cruise_range import CruiseRange, cruise_range
from groundside.reports.compare.findings import Findings
from groundside.reports.compare.power_splits import pair_splits, setup_splits
from groundside.reports.compare.run_sheet import entries_of
from groundside.reports.compare.run_times import RunTimes
from groundside.reports.compare.trial import run_trial
from groundside.reports.compare.trial_log import TrialLog, read_all, read_trial_log
from groundside.reports.drawing import need_matplotlib
from groundside.reports.log_progress import progress_bar, shifted, size_bytes
from groundside.reports.report_files import check_page, write_report
from groundside.reports.text_layout import print_report, printable
from groundside.words.units import units_named
from onboard.efficiency.trial.trial import Trial
from onboard.errors import UsageError
from onboard.profile import Profile, profile_for


def run_compare(arguments: argparse.Namespace) -> int:
    """Compare set-ups and print the result; return the exit code.

    Raises
    ------
    WattwakeError
        If a sheet or a log cannot be used, or there is nothing to compare.
    """
    _check(arguments)
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
    findings = Findings(
        trial,
        RunTimes([log for log, _ in logs]),
        splits,
        pair_splits(trial.comparison, splits),
        _cruise(arguments, trial, profile),
    )
    lines = as_lines(findings, units, details=arguments.details)
    print_report(arguments.json, lambda: as_json(findings), map(printable, lines))
    if arguments.html is not None:
        write_report(arguments.html, compare_page(findings, units))
    return 0


def _cruise(arguments: argparse.Namespace, trial: Trial, profile: Profile) -> CruiseRange | None:
    if arguments.speed_mps is None:
        return None
    return cruise_range(arguments.speed_mps, trial, profile, arguments.battery_wh)


def _check(arguments: argparse.Namespace) -> None:
    """Refuse options that contradict each other, before any log is read."""
    if arguments.battery_wh is not None and arguments.speed_mps is None:
        raise UsageError("--battery-wh: goes with --speed-mps")
    if arguments.html is not None:
        check_page(arguments.html)
        need_matplotlib("compare")
