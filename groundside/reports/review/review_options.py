"""The command `review` and its options; `review_command` runs it."""

import argparse
from pathlib import Path
from typing import Final

from groundside.interrupts import interrupts_held
from groundside.options import add_units
from onboard.options import Command, add_json, add_profile, add_system_id


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "logs",
        type=Path,
        metavar="LOG",
        nargs="+",
        help="telemetry log, on-board log, session, or a folder of them",
    )
    add_profile(parser)
    add_system_id(parser)
    printed = parser.add_mutually_exclusive_group()
    add_json(printed)
    printed.add_argument(
        "--csv",
        action="store_true",
        help="print comma-separated values: a row a log, SI units, empty where nothing is known",
    )
    parser.add_argument(
        "--plot",
        type=Path,
        metavar="FILE",
        help="draw one log into a .png or .svg file: power by speed, energy, consumption, track",
    )
    parser.add_argument(
        "--html",
        type=Path,
        metavar="FILE",
        help="write a page that needs nothing else: tables and pictures of all logs. It holds the "
        "track, which shows where you set off and where you live: think before you pass it on",
    )
    parser.add_argument(
        "--no-track", action="store_true", help="leave the track out of --plot and --html"
    )
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    with interrupts_held():
        from groundside.reports.review.review_command import run_review

    return run_review(arguments)


REVIEW: Final = Command(
    "review",
    "sum up saved logs",
    "wattwake-groundside review ride.tlog --html ride.html",
    add_arguments,
    run,
)
