"""The command `run`, also the default: the daemon itself."""

import argparse
import asyncio
import faulthandler
import logging
import sys
from dataclasses import replace
from pathlib import Path
from typing import Final

from onboard.daemon.quiet_log import QuietFilter
from onboard.options import Command, number_between
from onboard.telemetry.link.link_options import add_link_options

TARGETS: Final = (
    ("distance-m", 1e7, "distance to make from the start on [m]"),
    ("speed-mps", 40.0, "speed over ground to hold [m/s]"),
    ("power-w", 1e5, "battery power to hold [W]"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_link_options(parser)
    aim = parser.add_mutually_exclusive_group()
    for name, most, meaning in TARGETS:
        aim.add_argument(
            f"--target-{name}", type=number_between(0.1, most), metavar="X", help=meaning
        )
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--record", type=Path, metavar="DIR", help="keep session records here")
    where.add_argument("--no-record", action="store_true", help="keep no record")


def run(arguments: argparse.Namespace) -> int:
    """Run the daemon until it is stopped; return the exit code."""
    # Heavy imports come first: the rest reuses the memory they free.
    from onboard.daemon import lean_memory
    from onboard.daemon.ending import Ending
    from onboard.daemon.run_settings import merged
    from onboard.daemon.service import Service
    from onboard.efficiency.advice.target import Aim

    # If the watchdog fires, the log shows where the daemon hung.
    if sys.stderr is not None:  # it may be inherited as closed
        faulthandler.enable()
    for handler in logging.getLogger().handlers:
        handler.addFilter(QuietFilter())
    aim = Aim(arguments.target_distance_m, arguments.target_speed_mps, arguments.target_power_w)
    settings = merged(arguments, aim=aim)
    if arguments.no_record:
        settings = replace(settings, record=None)
    lean_memory.begin()

    async def serve() -> None:
        ending = Ending()
        ending.guard()
        await Service(settings, ending).run()

    asyncio.run(serve())
    return 0


RUN: Final = Command(
    "run",
    "run the daemon (the default)",
    "wattwake-onboard --profile craft.toml --link /dev/ttyAMA0 --baud 57600",
    add_arguments,
    run,
    description=(
        "Reads MAVLink telemetry and serves live Wh/km and range. "
        "Sends a heartbeat and requests for telemetry, and nothing that steers."
    ),
)
