"""The command `check`: test the installation ashore, propeller off."""

import argparse
import json
import shutil
import sys
from pathlib import Path
from typing import Final

from onboard.options import Command, number_between
from onboard.telemetry.link.link_options import add_link_options


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_link_options(parser)
    parser.add_argument("--record", type=Path, metavar="DIR", help="where records will be kept")
    parser.add_argument(
        "--seconds",
        type=number_between(2.0, 600.0),
        default=10.0,
        metavar="S",
        help="how long to listen [s] (default 10)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON")


def run(arguments: argparse.Namespace) -> int:
    """Check and print the findings; return 1 if one is bad."""
    from onboard.ashore.findings import CheckVerdict, worst
    from onboard.ashore.gathering import gather
    from onboard.ashore.report import FIRST, as_dict, as_lines, judge
    from onboard.daemon.run_settings import merged

    settings = merged(arguments)
    # At once, for people: with --json, stdout is for programs.
    stream = sys.stderr if arguments.json else sys.stdout
    print(FIRST, f"Listening for {arguments.seconds:g} s ...", sep="\n", file=stream, flush=True)
    facts = gather(settings, arguments.seconds)
    findings = judge(facts)
    if arguments.json:
        print(json.dumps(as_dict(facts, findings), indent=2))
    else:
        print(*as_lines(findings, min(shutil.get_terminal_size().columns, 100)), sep="\n")
    return 1 if worst(findings) is CheckVerdict.BAD else 0


CHECK: Final = Command(
    "check",
    "ashore, propeller off: is all fit for a ride?",
    "wattwake-onboard check --profile craft.toml --seconds 20",
    add_arguments,
    run,
    description=(
        "Listens for some seconds, and says what is fit and what is not. Sends "
        "nothing. Ashore, propeller off, craft at rest. Exits with 1 if something is bad."
    ),
)
