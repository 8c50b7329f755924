"""Options shared by several of the viewer's commands."""

import argparse

from groundside.words.units import CHOICES
from onboard.options import number_between


def add_units(parser: argparse.ArgumentParser) -> None:
    """Add `--units`."""
    parser.add_argument("--units", metavar="UNITS", help=f"one of {', '.join(CHOICES)}")


def add_display(parser: argparse.ArgumentParser) -> None:
    """Add the options of commands that show a source: `--plain` and `--target-distance-m`."""
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


def add_speed(parser: argparse.ArgumentParser) -> None:
    """Add `--speed`."""
    parser.add_argument(
        "--speed",
        type=number_between(0.1, 10_000),
        metavar="X",
        help="times as fast as it was ridden",
    )
