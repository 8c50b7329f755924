"""The command `serve`: the dashboard for browsers."""

import argparse
from pathlib import Path
from typing import Final

from groundside.browser.page_address import PAGE_PORT
from groundside.dashboard.watch_command import find
from groundside.options import add_units
from groundside.words.units import units_named
from onboard.errors import UsageError
from onboard.options import Command, add_profile, number_between


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "address",
        nargs="?",
        metavar="HOST[:PORT]|NAME",
        help="where the daemon's feed is, as for watch",
    )
    parser.add_argument(
        "--bind",
        metavar="HOST[:PORT]",
        help=f"where the page is served (default 127.0.0.1:{PAGE_PORT}, this machine only); "
        "anything that others reach is encrypted, and lets a browser in with a code",
    )
    parser.add_argument(
        "--viewers",
        type=number_between(1, 32),
        default=4,
        metavar="N",
        help="how many browsers at a time (default 4; each takes about 60 MB)",
    )
    parser.add_argument(
        "--role",
        choices=("crew", "viewer"),
        default="crew",
        help="what the codes are for: crew also marks, sets targets and labels (the default); "
        "viewer looks only",
    )
    parser.add_argument("--name", metavar="NAME", help="what to call who comes in by them")
    parser.add_argument(
        "--invite",
        action="store_true",
        help="give the link and code for one more browser to a `serve` that runs, and end",
    )
    add_profile(parser)
    parser.add_argument(
        "--record", type=Path, metavar="DIR", help="where the daemon keeps records, if given there"
    )
    parser.add_argument("--json", action="store_true", help="with --invite: print JSON")
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Serve the dashboard to browsers, or invite one more; return the exit code."""
    from groundside.connection.address import format_address

    try:
        from groundside.browser.serve_page import invite_browser, serve_page
    except ImportError as problem:
        raise UsageError(
            f"serve: {problem.name or problem} is not installed: pip install 'wattwake[serve]'"
        ) from None
    if arguments.invite:
        return invite_browser(arguments)
    feed = find(arguments.address)
    watch = [format_address(feed.host or "", feed.port)]
    if arguments.units:
        watch += ["--units", units_named(arguments.units).speed_name]
    return serve_page(arguments, watch)


SERVE: Final = Command(
    "serve",
    "offer the dashboard to browsers",
    "wattwake-groundside serve --bind 0.0.0.0",
    add_arguments,
    run,
)
