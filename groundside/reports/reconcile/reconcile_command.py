"""Run the command `reconcile`."""

import argparse

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
    sheet = _sheet(arguments)
    paths = [log for one in sheet.charges for log in one.logs]
    profile = profile_of(arguments.profile, paths)
    options = CountOptions(
        arguments.system_id,
        arguments.full_to_full,
        arguments.unlogged_ah,
        arguments.meter_sd_fraction,
        arguments.charge_a,
    )
    with progress_bar(paths) as progress:
        counted = count_charges(sheet, profile, options, progress)
    result = reconciled(counted.charges, counted.conditions)
    print_report(arguments.json, lambda: as_json(counted, result), as_lines(counted, result))
    return BEYOND if result.verdict in ("sensor_reads_low", "sensor_reads_high") else 0


def _sheet(arguments: argparse.Namespace) -> ChargeSheet:
    charged = (arguments.charged_wh, arguments.charged_ah)
    if arguments.sheet is not None:
        if arguments.logs or charged != (None, None):
            raise UsageError("--sheet: logs and what came back stand in the sheet then")
        sheet = read_charge_sheet(arguments.sheet)
        return checked(ChargeSheet(sheet.charges, arguments.meter or sheet.meter))
    if not arguments.logs:
        raise UsageError("reconcile: name the logs of one charge, or give --sheet")
    charge = StatedCharge(tuple(arguments.logs), *charged)
    return checked(ChargeSheet((charge,), arguments.meter))
