"""The command `install-service`: a systemd unit that starts the daemon at boot."""

import argparse
import os
from typing import Final

from onboard.options import Command, add_profile
from onboard.profile import Profile, load_profile


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    whose = parser.add_mutually_exclusive_group()
    whose.add_argument(
        "--system", action="store_true", help="for the board (the default with root's rights)"
    )
    whose.add_argument("--user", action="store_true", help="for your account (else the default)")
    add_profile(parser)
    parser.add_argument("--print", action="store_true", help="print the unit, and write nothing")
    parser.add_argument("--replace", action="store_true", help="replace another unit")


def run(arguments: argparse.Namespace) -> int:
    """Write or print the unit and the next steps; return the exit code."""
    from onboard.ashore.service_unit import install, next_steps, plan_unit, unit_path, unit_text

    profile = load_profile(arguments.profile) if arguments.profile else Profile()
    system = arguments.system or (os.geteuid() == 0 and not arguments.user)
    plan = plan_unit(system, profile, arguments.profile)
    text = unit_text(plan)
    if arguments.print:
        print(text, end="")
        return 0
    print(install(text, unit_path(system), arguments.replace))
    if plan.system and plan.user is None:
        print("It runs as root: called with sudo from your account, it would run as you.")
    print("Next:")
    for command, meaning in next_steps(plan):
        print(f"  {command:<44}  {meaning}")
    return 0


INSTALL_SERVICE: Final = Command(
    "install-service",
    "have systemd start the daemon with the board",
    "sudo wattwake-onboard install-service --system --profile craft.toml",
    add_arguments,
    run,
    description=(
        "Writes a systemd unit that starts the daemon with the board, watches over "
        "it and starts it again whenever it ends."
    ),
)
