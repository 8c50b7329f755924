"""The options of every command that opens the link."""

import argparse

from onboard.options import add_profile, add_system_id, whole_number


def add_link_options(parser: argparse.ArgumentParser) -> None:
    """Add profile, link, and where viewers connect."""
    add_profile(parser)
    parser.add_argument(
        "--link",
        metavar="LINK",
        help="udpin:HOST:PORT, tcp:HOST:PORT, file:PATH or a serial device "
        "(default: the profile's, else udpin:0.0.0.0:14550)",
    )
    parser.add_argument(
        "--baud", type=whole_number(1200, 4_000_000), help="speed of a serial link (default 57600)"
    )
    add_system_id(parser)
    parser.add_argument(
        "--listen",
        metavar="HOST:PORT",
        help="where viewers on this board connect (default 127.0.0.1:27220); an address that "
        "others reach is encrypted, and needs `pair` first",
    )
    parser.add_argument(
        "--crew-listen",
        metavar="HOST:PORT",
        help="where paired viewers connect (default 0.0.0.0:27222); off takes none",
    )
