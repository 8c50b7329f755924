"""The command `demo`: the whole chain on a simulated ride, without hardware."""

import argparse
from typing import Final

from groundside.options import add_display, add_speed, add_units
from onboard.options import Command


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_display(parser)
    add_speed(parser)
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Play the bundled ride into a real daemon and show its feed; return the exit code."""
    from groundside.dashboard.show import is_plain, rider_units, show
    from groundside.demo.bundled import bundled_file
    from groundside.demo.demo_source import DemoSource

    plain = is_plain(arguments)
    source = DemoSource(
        bundled_file("harbour_loop.tlog"),
        bundled_file("harbour_loop.toml"),
        speed=arguments.speed or (None if plain else 4.0),
        stays_at_end=not plain,
        target_distance_m=arguments.target_distance_m,
    )
    return show(arguments, source, rider_units(arguments))


DEMO: Final = Command(
    "demo",
    "try it all without hardware, on a simulated ride",
    "wattwake-groundside demo",
    add_arguments,
    run,
)
