"""The command line of the daemon: `python -m onboard`, installed as `wattwake-onboard`."""

import argparse
import asyncio
import logging
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from onboard import __version__
from onboard.errors import WattwakeError
from onboard.profile import Profile, load_profile

EXAMPLE = "example: wattwake-onboard --profile craft.toml --link /dev/ttyAMA0 --baud 57600"


class OneLineParser(argparse.ArgumentParser):
    """Reports a wrong option in one line."""

    def error(self, message: str) -> NoReturn:
        """Print one line and leave with 2."""
        self.exit(2, f"{self.prog}: {message} (see --help)\n")


def whole_number(least: int, most: int) -> Callable[[str], int]:
    """Make a reader of whole numbers within limits from the command line."""

    def read(text: str) -> int:
        number = int(text) if text.isdecimal() else least - 1
        if not least <= number <= most:
            wanted = f"expected a whole number from {least} to {most}"
            raise argparse.ArgumentTypeError(f"{text}: {wanted}")
        return number

    return read


def number_between(least: float, most: float) -> Callable[[str], float]:
    """Make a reader of numbers within limits from the command line."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = least - 1.0
        if not least <= value <= most:
            wanted = f"expected a number from {least:g} to {most:g}"
            raise argparse.ArgumentTypeError(f"{text}: {wanted}")
        return value

    return read


system_id = whole_number(1, 255)


def parser() -> argparse.ArgumentParser:
    """Build the parser of all commands."""
    top = OneLineParser(
        prog="wattwake-onboard",
        description="Reads MAVLink telemetry and serves live Wh/km and range. Sends nothing.",
        epilog=f"options of the daemon: wattwake-onboard run --help; {EXAMPLE}",
    )
    top.add_argument("--version", action="version", version=f"wattwake {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    run = commands.add_parser(
        "run", help="run the daemon (the default)", epilog=EXAMPLE, description=top.description
    )
    run.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
    run.add_argument(
        "--link",
        metavar="LINK",
        help="udpin:HOST:PORT, tcp:HOST:PORT, file:PATH or a serial device "
        "(default: the profile's, else udpin:0.0.0.0:14550)",
    )
    run.add_argument(
        "--baud", type=whole_number(1200, 4_000_000), help="speed of a serial link (default 57600)"
    )
    run.add_argument("--system-id", type=system_id, metavar="N", help="follow this MAVLink system")
    run.add_argument(
        "--listen", metavar="HOST:PORT", help="where viewers connect (default 127.0.0.1:27220)"
    )
    aim = run.add_mutually_exclusive_group()
    for name, most, meaning in (
        (
            "distance-m",
            1e7,
            "distance to make from the start on [m]",
        ),
        ("speed-mps", 40.0, "speed over ground to hold [m/s]"),
        ("power-w", 1e5, "battery power to hold [W]"),
    ):
        aim.add_argument(
            f"--target-{name}", type=number_between(0.1, most), metavar="X", help=meaning
        )
    where = run.add_mutually_exclusive_group()
    where.add_argument("--record", type=Path, metavar="DIR", help="keep session records here")
    where.add_argument("--no-record", action="store_true", help="keep no record")
    return top


def default_record() -> Path:
    """Give the folder for records where neither option nor profile names one."""
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "wattwake" / "sessions"


def run(arguments: argparse.Namespace) -> None:
    """Run the daemon until it is told to stop."""
    # Imported here so that --help and --version do not wait for numpy.
    from onboard.efficiency.target import Aim
    from onboard.feed.server import parse_listen
    from onboard.service import Service, Settings

    profile, text = Profile(), None
    if arguments.profile:
        profile = load_profile(arguments.profile)
        text = arguments.profile.read_text(encoding="utf-8")
    connection = arguments.link or profile.link.connection
    record = arguments.record or Path(profile.record.directory or default_record()).expanduser()
    if arguments.no_record or (connection.startswith("file:") and not arguments.record):
        record = None
    settings = Settings(
        profile=profile,
        connection=connection,
        baud=arguments.baud or profile.link.baud,
        system_id=arguments.system_id,
        listen=parse_listen(arguments.listen or profile.feed.listen),
        record=record,
        profile_text=text,
        aim=Aim(arguments.target_distance_m, arguments.target_speed_mps, arguments.target_power_w),
    )

    async def serve() -> None:
        await Service(settings).run()

    asyncio.run(serve())


def main(argv: list[str] | None = None) -> int:
    """Run a command; give its exit code: 0, or 2 with one line on stderr."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or (words[0].startswith("-") and words[0] not in ("-h", "--help", "--version")):
        words.insert(0, "run")
    arguments = parser().parse_args(words)
    logging.basicConfig(level=logging.INFO, format="wattwake: %(message)s", stream=sys.stderr)
    try:
        run(arguments)
    except WattwakeError as problem:
        print(f"wattwake-onboard: {problem}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
