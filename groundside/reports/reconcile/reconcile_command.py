"""Run the command `reconcile`."""

import argparse
from collections.abc import Sequence
from pathlib import Path

from groundside.reports.log_progress import progress_bar
from groundside.reports.reconcile.charge_sheet import (
    ChargeSheet,
    StatedCharge,
    checked,
    read_charge_sheet,
)
from groundside.reports.reconcile.counted_charges import CountOptions, count_charges, profile_of
from groundside.reports.reconcile.reconcile_output import as_json, as_lines
from groundside.reports.text_layout import print_report
from groundside.studies.reconciliation import reconciled
from onboard.errors import UsageError

BEYOND = 1
"""Exit code if a sensor is off by more than the uncertainties explain."""


def run_reconcile(arguments: argparse.Namespace) -> int:
    """Compare counted with charged amounts and print the result; return the exit code.

    Raises
    ------
    UsageError
        If inputs are missing or contradictory.
    LogError, ProfileError
        If a log or the profile cannot be used.
    """
    sheet, marked = _stated(arguments)
    paths = [log for one in sheet.charges for log in one.logs] + list(marked)
    profile = profile_of(arguments.profile, paths)
    options = CountOptions(
        arguments.system_id,
        arguments.full_to_full,
        arguments.unlogged_ah,
        arguments.meter_sd_fraction,
        arguments.charge_a,
    )
    with progress_bar(paths) as progress:
        counted = count_charges(sheet, marked, profile, options, progress)
    result = reconciled(counted.charges, counted.conditions)
    print_report(arguments.json, lambda: as_json(counted, result), as_lines(counted, result))
    return BEYOND if result.verdict in ("sensor_reads_low", "sensor_reads_high") else 0


def _stated(arguments: argparse.Namespace) -> tuple[ChargeSheet, Sequence[Path]]:
    """Return the charges of sheet or command line, and the sessions whose marks state charges."""
    logs = tuple(arguments.logs)
    charged = (arguments.charged_wh, arguments.charged_ah)
    by_marks = bool(logs) and charged == (None, None) and all(map(Path.is_dir, logs))
    if arguments.sheet is not None:
        if charged != (None, None):
            raise UsageError("--sheet: state what came back in the sheet instead")
        if logs and not by_marks:
            raise UsageError(
                "--sheet: only sessions whose marks state their charges can be given as well; list "
                "other logs in the sheet"
            )
        sheet = read_charge_sheet(arguments.sheet)
        stated = ChargeSheet(sheet.charges, arguments.meter or sheet.meter)
    elif not logs:
        raise UsageError("reconcile: name the logs of one charge, or give --sheet")
    elif by_marks:
        stated = ChargeSheet((), arguments.meter)
    else:
        stated = ChargeSheet((StatedCharge(logs, *charged),), arguments.meter)
    marked = logs if by_marks else ()
    return checked(stated, marked), marked
