"""The options of `serve`."""

import argparse
from pathlib import Path

from onboard.__main__ import number_between
from onboard.profile import DEFAULT_FEED_PORT

PAGE_PORT = DEFAULT_FEED_PORT + 1


def add_arguments(serve: argparse.ArgumentParser) -> None:
    """Add them to the command."""
    serve.add_argument(
        "address",
        nargs="?",
        metavar="HOST[:PORT]|NAME",
        help="where the daemon's feed is, as for watch",
    )
    serve.add_argument(
        "--bind",
        metavar="HOST[:PORT]",
        help=f"where the page is served (default 127.0.0.1:{PAGE_PORT}, this machine only); "
        "anything that others reach is encrypted, and lets a browser in with a code",
    )
    serve.add_argument(
        "--viewers",
        type=number_between(1, 32),
        default=4,
        metavar="N",
        help="how many browsers at a time (default 4; each takes about 60 MB)",
    )
    serve.add_argument(
        "--role",
        choices=("crew", "viewer"),
        default="crew",
        help="what the codes are for: crew also marks, sets targets and labels (the default); "
        "viewer looks only",
    )
    serve.add_argument("--name", metavar="NAME", help="what to call who comes in by them")
    serve.add_argument(
        "--invite",
        action="store_true",
        help="give the link and code for one more browser to a `serve` that runs, and end",
    )
    serve.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
    serve.add_argument(
        "--record", type=Path, metavar="DIR", help="where the daemon keeps records, if given there"
    )
    serve.add_argument("--json", action="store_true", help="with --invite: print JSON")
