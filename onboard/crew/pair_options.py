"""The options of `pair`."""

import argparse
from pathlib import Path
from typing import Any

EXAMPLE = 'example: wattwake-onboard pair --name "old phone" --role viewer'


def add_pair(commands: Any) -> None:
    """Add the command.

    Parameters
    ----------
    commands
        What `add_subparsers` gave.
    """
    pair: argparse.ArgumentParser = commands.add_parser(
        "pair",
        help="let a phone or laptop on this network look on, or put one out",
        description="Opens the feed to one more viewer on the local network, encrypted: prints "
        "what to type there. Run it as the user that runs the daemon; that need not be restarted.",
        epilog=EXAMPLE,
    )
    act = pair.add_mutually_exclusive_group()
    act.add_argument("--list", action="store_true", help="say who is paired, and what waits")
    act.add_argument(
        "--revoke",
        metavar="NAME",
        help="put this viewer out for good, or a text that was not used yet",
    )
    pair.add_argument(
        "--role",
        choices=("crew", "viewer"),
        default="crew",
        help="crew also marks, sets targets and labels (the default); viewer looks only",
    )
    pair.add_argument("--name", metavar="NAME", help="what to call the viewer (else by its own)")
    pair.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
    pair.add_argument("--record", type=Path, metavar="DIR", help="where records are kept")
    for name in ("--listen", "--crew-listen"):
        pair.add_argument(name, metavar="HOST:PORT", help="as for the daemon, if given there")
    pair.add_argument("--json", action="store_true", help="print JSON, for other programs")
