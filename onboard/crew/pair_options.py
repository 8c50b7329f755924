"""Options of the command `pair`, which is implemented in `pair_command`, imported when it runs."""

import argparse
from pathlib import Path
from typing import Final

from onboard.options import Command, add_json, add_profile, record_folder
from onboard.profile import Profile, load_profile


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    act = parser.add_mutually_exclusive_group()
    act.add_argument("--list", action="store_true", help="say who is paired, and what waits")
    act.add_argument(
        "--revoke",
        metavar="NAME",
        help="put this viewer out for good, or a text that was not used yet",
    )
    parser.add_argument(
        "--role",
        choices=("crew", "viewer"),
        default="crew",
        help="crew also marks, sets targets and labels (the default); viewer looks only",
    )
    parser.add_argument("--name", metavar="NAME", help="what to call the viewer (else by its own)")
    add_profile(parser)
    parser.add_argument("--record", type=Path, metavar="DIR", help="where records are kept")
    for name in ("--listen", "--crew-listen"):
        parser.add_argument(name, metavar="HOST:PORT", help="as for the daemon, if given there")
    add_json(parser)


def run(arguments: argparse.Namespace) -> int:
    """Invite, list or revoke viewers; return the exit code."""
    from onboard.crew.pair_command import run_pair

    profile = load_profile(arguments.profile) if arguments.profile else Profile()
    return run_pair(arguments, profile, record_folder(arguments.record, profile))


PAIR: Final = Command(
    "pair",
    "let a phone or laptop on this network look on, or put one out",
    'wattwake-onboard pair --name "old phone" --role viewer',
    add_arguments,
    run,
    description=(
        "Opens the feed to one more viewer on the local network, encrypted: prints "
        "what to type there. Run it as the user that runs the daemon; that need not be restarted."
    ),
)
