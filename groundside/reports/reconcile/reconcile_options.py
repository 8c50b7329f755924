"""The command `reconcile` and its options; `reconcile_command` runs it."""

import argparse
from pathlib import Path
from typing import Final

from groundside.interrupts import interrupts_held
from onboard.options import Command, add_json, add_profile, add_system_id, number_between

SHEET_HELP = (
    'charges in TOML: meter = "dc", full_to_full = true, and for each charge [[charge]] with '
    'logs = ["ride.tlog"], charged_wh, charged_ah; sessions given as well add those of their marks'
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "logs",
        type=Path,
        metavar="LOG",
        nargs="*",
        help="all rides on one charge, in order: telemetry logs, on-board logs or sessions; or, "
        "without an amount, sessions alone: a charge runs from one mark 'charged full' to the "
        "next, and its amount is what the marks 'charged' state",
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
        help="how well the meter measures, one standard deviation (default 0.01), mostly the same "
        "error in every charge",
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
        help="the pack was full before the rides and after the charge; else the marks decide",
    )
    parser.add_argument(
        "--unlogged-ah",
        type=number_between(0, 1000),
        metavar="AH",
        help="drawn on one charge while nothing was recorded [Ah], known to a quarter; if not "
        "given, up to 1 %% of the pack is allowed for; 0 if the pack is disconnected between rides",
    )
    parser.add_argument("--sheet", type=Path, metavar="FILE", help=SHEET_HELP)
    add_profile(parser)
    add_system_id(parser)
    add_json(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    with interrupts_held():
        from groundside.reports.reconcile.reconcile_command import run_reconcile

    return run_reconcile(arguments)


RECONCILE: Final = Command(
    "reconcile",
    "compare what the charger put back with what was counted",
    "wattwake-groundside reconcile ride.tlog --charged-ah 14.2 --full-to-full",
    add_arguments,
    run,
)
