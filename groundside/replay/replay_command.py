"""The command `replay`: a saved log on the dashboard."""

import argparse
from pathlib import Path
from typing import Final

from groundside.options import add_display, add_speed, add_units
from onboard.options import Command, add_profile, add_system_id

PLAIN_SPEED: Final = 60.0
"""Default speed for plain lines: one line per second is then one per minute of the ride."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "log", type=Path, metavar="LOG", help="telemetry log, on-board log or session"
    )
    add_profile(parser)
    add_system_id(parser)
    add_display(parser)
    add_speed(parser)
    add_units(parser)


def run(arguments: argparse.Namespace) -> int:
    """Play a saved log; return the exit code."""
    from groundside.dashboard.show import is_plain, rider_units, show
    from groundside.replay.replay_source import ReplaySource
    from onboard.profile import profile_for

    profile = profile_for(arguments.profile, arguments.log)
    plain = is_plain(arguments)
    source = ReplaySource(
        arguments.log,
        profile,
        system_id=arguments.system_id,
        speed=arguments.speed or (PLAIN_SPEED if plain else 1.0),
        stays_at_end=not plain,
        target_distance_m=arguments.target_distance_m,
    )
    return show(arguments, source, rider_units(arguments, profile.units.speed))


REPLAY: Final = Command(
    "replay",
    "play a saved log on the dashboard",
    "wattwake-groundside replay ride.tlog --speed 10",
    add_arguments,
    run,
)
