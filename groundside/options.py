"""Options that several of the viewer's commands take."""

import argparse

from groundside.words.units import CHOICES
from onboard.options import number_between


def add_units(parser: argparse.ArgumentParser) -> None:
    """Add `--units`."""
    parser.add_argument("--units", metavar="UNITS", help=f"one of {', '.join(CHOICES)}")


def add_shown(parser: argparse.ArgumentParser) -> None:
    """Add what every command takes that shows a source: `--plain` and the target distance."""
    parser.add_argument(
        "--plain", action="store_true", help="plain lines, also where there is a terminal"
    )
    parser.add_argument(
        "--target-distance-m",
        type=number_between(1, 1e7),
        metavar="M",
        help="distance to make from now on [m]: shows the speed that makes it once the curve "
        "is learned, and the consumption until then",
    )


def add_playing_speed(parser: argparse.ArgumentParser) -> None:
    """Add `--speed`."""
    parser.add_argument(
        "--speed",
        type=number_between(0.1, 10_000),
        metavar="X",
        help="times as fast as it was ridden",
    )
