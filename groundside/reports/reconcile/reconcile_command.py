"""The command `reconcile`."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Final

from onboard.options import Command, add_json, add_profile, add_system_id, number_between

if TYPE_CHECKING:
    from groundside.reports.reconcile.charge_sheet import Stated

BEYOND = 1
"""The exit code where a sensor is off by more than can be explained."""

SHEET_HELP = (
    'charges in TOML: meter = "dc", full_to_full = true, and for each charge [[charge]] with '
    'logs = ["ride.tlog"], charged_wh, charged_ah'
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "logs",
        type=Path,
        metavar="LOG",
        nargs="*",
        help="all rides on one charge, in order: telemetry log, on-board log or session",
    )
    parser.add_argument(
        "--charged-wh",
        type=number_between(0.1, 2e5),
        metavar="WH",
        help="energy that the meter counted while charging [Wh]",
    )
    parser.add_argument(
        "--charged-ah",
        type=number_between(0.01, 5000),
        metavar="AH",
        help="charge that it counted [Ah]: what a correction of the current sensor rests on",
    )
    parser.add_argument(
        "--meter",
        choices=("dc", "ac"),
        help="where it was: dc, between charger and pack (the default); ac, at the wall",
    )
    parser.add_argument(
        "--meter-sd-fraction",
        type=number_between(0, 0.5),
        metavar="X",
        default=0.01,
        help="how well the meter measures, one standard deviation (default 0.01)",
    )
    parser.add_argument(
        "--charge-a",
        type=number_between(0.01, 1000),
        metavar="A",
        help="mean charging current [A]: narrows what the pack loses",
    )
    parser.add_argument(
        "--full-to-full",
        action="store_true",
        help="the pack was full before the rides and after the charge; else the marks tell",
    )
    parser.add_argument(
        "--unlogged-ah",
        type=number_between(0, 1000),
        metavar="AH",
        help="drawn on one charge while nothing was recorded [Ah], known to a quarter; without, up "
        "to 1 %% of the pack is allowed for",
    )
    parser.add_argument("--sheet", type=Path, metavar="FILE", help=SHEET_HELP)
    add_profile(parser)
    add_system_id(parser)
    add_json(parser)


def run_reconcile(arguments: argparse.Namespace) -> int:
    """Compare what was counted with what came back and print it; return the exit code.

    Raises
    ------
    UsageError
        If something that is needed is missing, or contradicts what else was said.
    LogError, ProfileError
        If a log or the profile cannot be used.
    """
    from groundside.reports.progress import progress_bar
    from groundside.reports.reconcile.charges import Options, gathered, profile_of
    from groundside.reports.reconcile.reconcile_output import as_json, as_lines
    from groundside.reports.review.many import size_bytes
    from groundside.studies.reconciliation import reconciled

    stated = _stated(arguments)
    paths = [log for one in stated.charges for log in one.logs]
    profile = profile_of(arguments.profile, paths)
    options = Options(
        arguments.system_id,
        arguments.full_to_full,
        arguments.unlogged_ah,
        arguments.meter_sd_fraction,
        arguments.charge_a,
    )
    what = f"reading {paths[0].name}" if len(paths) == 1 else f"reading {len(paths)} logs"
    with progress_bar(sum(map(size_bytes, paths)), what) as progress:
        found = gathered(stated, profile, options, progress)
    result = reconciled(found.charges, found.conditions)
    if arguments.json:
        print(json.dumps(as_json(found, result), indent=2, allow_nan=False))
    else:
        for line in as_lines(found, result):
            print(line)
    return BEYOND if result.verdict in ("sensor_reads_low", "sensor_reads_high") else 0


def _stated(arguments: argparse.Namespace) -> "Stated":
    from groundside.reports.reconcile.charge_sheet import Stated, StatedCharge, checked, read_sheet
    from onboard.errors import UsageError

    charged = (arguments.charged_wh, arguments.charged_ah)
    if arguments.sheet is not None:
        if arguments.logs or charged != (None, None):
            raise UsageError("--sheet: logs and what came back stand in the sheet then")
        sheet = read_sheet(arguments.sheet)
        if arguments.meter is not None:
            sheet = Stated(sheet.charges, arguments.meter)
        return checked(sheet)
    if not arguments.logs:
        raise UsageError("reconcile: name the logs of one charge, or give --sheet")
    return checked(
        Stated((StatedCharge(tuple(arguments.logs), *charged),), arguments.meter),
    )


RECONCILE: Final = Command(
    "reconcile",
    "compare what the charger put back with what was counted",
    "compare what the charger put back with what was counted",
    "wattwake-groundside reconcile ride.tlog --charged-ah 14.2 --full-to-full",
    add_arguments,
    run_reconcile,
)
