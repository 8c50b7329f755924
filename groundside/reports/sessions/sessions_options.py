"""The command `sessions` and its options; `sessions_command` runs it."""

import argparse
from pathlib import Path
from typing import Final

from groundside.interrupts import interrupts_held
from groundside.options import add_units
from onboard.options import Command, add_json, number_between


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "folders",
        type=Path,
        nargs="*",
        metavar="DIR",
        help="where sessions or logs lie; without, where the daemon keeps its records",
    )
    parser.add_argument(
        "--since", metavar="DATE", help="begun on this day or later: YYYY-MM-DD, in UTC"
    )
    parser.add_argument("--until", metavar="DATE", help="begun on this day or earlier, in UTC")
    parser.add_argument("--setup", metavar="LABEL", help="ridden with this set-up")
    parser.add_argument("--label", metavar="TEXT", help="with this in the label")
    parser.add_argument(
        "--longer-than-m",
        type=number_between(0, 1e8),
        metavar="M",
        help="longer than this [m]",
    )
    parser.add_argument(
        "--setups", action="store_true", help="what was ridden with each set-up; no comparison"
    )
    parser.add_argument(
        "--set-label",
        nargs=2,
        metavar=("SESSION", "TEXT"),
        help="call a session something; an empty text takes that away",
    )
    parser.add_argument(
        "--rebuild", action="store_true", help="read every record again, whatever is stored"
    )
    parser.add_argument(
        "--profile", type=Path, metavar="FILE", help="craft profile (TOML) for all of them"
    )
    add_json(parser)
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    with interrupts_held():
        from groundside.reports.sessions.sessions_command import run_sessions

    return run_sessions(arguments)


SESSIONS: Final = Command(
    "sessions",
    "list, filter and label a season",
    "wattwake-groundside sessions --since 2025-06-01",
    add_arguments,
    run,
)
