"""The command `watch`: the live figures of a daemon."""

import argparse
import sys
from typing import TYPE_CHECKING, Final

from groundside.connection.source import SnapshotSource
from groundside.options import add_display, add_units
from onboard.options import Command
from onboard.profile import DEFAULT_FEED_PORT

if TYPE_CHECKING:
    from groundside.connection.discovery import FeedAddress


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "address",
        nargs="?",
        metavar="HOST[:PORT]|NAME|TEXT",
        help=f"where the daemon's feed is, or the pairing text that the craft printed; without, "
        f"127.0.0.1:{DEFAULT_FEED_PORT} is tried, then paired crafts are searched for",
    )
    parser.add_argument("--forget", metavar="NAME", help="forget a craft that was paired with")
    parser.add_argument(
        "--read-only", action="store_true", help="look only: no marks, no targets are set from here"
    )
    add_display(parser)
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Show the feed, or forget a craft; return the exit code."""
    from groundside.connection.resolve import open_feed
    from groundside.connection.source import NotFoundYet, ReadOnlySource
    from groundside.dashboard.show import rider_units, show

    if arguments.forget is not None:
        from groundside.connection.crafts import CraftBook, crafts_path

        CraftBook(crafts_path()).forget(arguments.forget)
        print(f"{arguments.forget} is forgotten here; on it, pair --revoke puts this machine out")
        return 0
    feed = find(arguments.address)
    source: SnapshotSource = open_feed(feed)
    if feed.not_found:
        source = NotFoundYet(source, feed.not_found)
    if arguments.read_only or (feed.craft is not None and feed.craft.role == "viewer"):
        source = ReadOnlySource(source)
    return show(arguments, source, rider_units(arguments), summary=False)


def find(address: str | None) -> "FeedAddress":
    """Return the feed's address, as given or as found; its host is never None."""
    from groundside.connection.resolve import resolve_feed

    def report(sentence: str) -> None:
        print(f"wattwake-groundside: {sentence}", file=sys.stderr, flush=True)

    return resolve_feed(address, report)


WATCH: Final = Command(
    "watch",
    "show the live figures of a daemon",
    "wattwake-groundside watch 192.0.2.7 --target-distance-m 20000",
    add_arguments,
    run,
)
