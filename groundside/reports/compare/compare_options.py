"""The command `compare` and its options; `compare_command` runs it."""

import argparse
from pathlib import Path
from typing import Final

from groundside.interrupts import interrupts_held
from groundside.options import add_units
from onboard.options import Command, add_json, add_profile, add_system_id, number_between


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
    parser.add_argument(
        "--speed-mps",
        type=number_between(0.1, 50),
        metavar="V",
        help="add what each set-up uses at this speed through the water, and its range [m/s]",
    )
    parser.add_argument(
        "--battery-wh",
        type=number_between(1, 1e5),
        metavar="WH",
        help="with --speed-mps: energy of the full pack, in place of the profile's",
    )
    parser.add_argument(
        "--details",
        action="store_true",
        help="add every pair, where the power goes, weights and degrees of freedom",
    )
    parser.add_argument(
        "--html",
        type=Path,
        metavar="FILE",
        help="write a self-contained page with tables and pictures",
    )
    add_profile(parser)
    add_system_id(parser)
    add_json(parser)
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    with interrupts_held():
        from groundside.reports.compare.compare_command import run_compare

    return run_compare(arguments)


COMPARE: Final = Command(
    "compare",
    "find the better set-up at equal battery power",
    "wattwake-groundside compare propellers.toml",
    add_arguments,
    run,
)
