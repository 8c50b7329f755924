"""The command line of the daemon: `python -m onboard`, installed as `wattwake-onboard`."""

import argparse
import asyncio
import errno
import faulthandler
import json
import logging
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from onboard import __version__
from onboard.crew.pair_options import add_pair
from onboard.daemon.print_line import let_stdout_go
from onboard.daemon.quiet_log import QuietFilter
from onboard.errors import WattwakeError
from onboard.profile import Profile, load_profile, read_profile

EXAMPLE = "example: wattwake-onboard --profile craft.toml --link /dev/ttyAMA0 --baud 57600"
CHECK_EXAMPLE = "example: wattwake-onboard check --profile craft.toml --seconds 20"
INSTALL_EXAMPLE = "example: sudo wattwake-onboard install-service --system --profile craft.toml"

DIGITS_MOST = 60

log = logging.getLogger("wattwake")


class OneLineParser(argparse.ArgumentParser):
    """Reports a wrong option in one line."""

    def error(self, message: str) -> NoReturn:
        """Print one line and leave with 2."""
        self.exit(2, f"{self.prog}: {message} (see --help)\n")


def whole_number(least: int, most: int) -> Callable[[str], int]:
    """Make a reader of whole numbers within limits from the command line."""

    def read(text: str) -> int:
        # No number of ours has more digits, and Python reads no number of thousands.
        number = int(text) if text.isdecimal() and len(text) <= DIGITS_MOST else least - 1
        if not least <= number <= most:
            wanted = f"expected a whole number from {least} to {most}"
            raise argparse.ArgumentTypeError(f"{text[:DIGITS_MOST]}: {wanted}")
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
        description="Reads MAVLink telemetry and serves live Wh/km and range. "
        "Sends a heartbeat and requests for telemetry, and nothing that steers.",
        epilog=f"options of the daemon: wattwake-onboard run --help; {EXAMPLE}",
    )
    top.add_argument("--version", action="version", version=f"wattwake {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    run = commands.add_parser(
        "run", help="run the daemon (the default)", epilog=EXAMPLE, description=top.description
    )
    _add_link_options(run)
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
    _add_check(commands)
    add_pair(commands)
    _add_install(commands)
    return top


def _add_link_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
    command.add_argument(
        "--link",
        metavar="LINK",
        help="udpin:HOST:PORT, tcp:HOST:PORT, file:PATH or a serial device "
        "(default: the profile's, else udpin:0.0.0.0:14550)",
    )
    command.add_argument(
        "--baud", type=whole_number(1200, 4_000_000), help="speed of a serial link (default 57600)"
    )
    command.add_argument(
        "--system-id", type=system_id, metavar="N", help="follow this MAVLink system"
    )
    command.add_argument(
        "--listen",
        metavar="HOST:PORT",
        help="where viewers on this board connect (default 127.0.0.1:27220); an address that "
        "others reach is encrypted, and needs `pair` first",
    )
    command.add_argument(
        "--crew-listen",
        metavar="HOST:PORT",
        help="where paired viewers connect (default 0.0.0.0:27222); off takes none",
    )


def _add_check(commands: "argparse._SubParsersAction[OneLineParser]") -> None:
    check = commands.add_parser(
        "check",
        help="ashore, propeller off: is all fit for a ride?",
        description="Listens for some seconds, and says what is fit and what is not. Sends "
        "nothing. Ashore, propeller off, craft at rest. Exits with 1 if something is bad.",
        epilog=CHECK_EXAMPLE,
    )
    _add_link_options(check)
    check.add_argument("--record", type=Path, metavar="DIR", help="where records will be kept")
    check.add_argument(
        "--seconds",
        type=number_between(2.0, 600.0),
        default=10.0,
        metavar="S",
        help="how long to listen [s] (default 10)",
    )
    check.add_argument("--json", action="store_true", help="print JSON")


def _add_install(commands: "argparse._SubParsersAction[OneLineParser]") -> None:
    install = commands.add_parser(
        "install-service",
        help="have systemd start the daemon with the board",
        description="Writes a systemd unit that starts the daemon with the board, watches over "
        "it and starts it again whenever it ends.",
        epilog=INSTALL_EXAMPLE,
    )
    whose = install.add_mutually_exclusive_group()
    whose.add_argument(
        "--system", action="store_true", help="for the board (the default with root's rights)"
    )
    whose.add_argument("--user", action="store_true", help="for your account (else the default)")
    install.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
    install.add_argument("--print", action="store_true", help="print the unit, and write nothing")
    install.add_argument("--replace", action="store_true", help="replace another unit")


def default_record() -> Path:
    """Give the folder for records where neither option nor profile names one."""
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "wattwake" / "sessions"


def record_folder(arguments: argparse.Namespace, profile: Profile) -> Path:
    """Give the folder for records: as asked for, as the profile says, else the default."""
    given: Path | None = arguments.record
    return given or Path(profile.record.directory or default_record()).expanduser()


def run(arguments: argparse.Namespace) -> int:
    """Run the daemon until it is told to stop."""
    # Imported here so that --help and --version do not wait for numpy.
    # First of all what needs much memory for a moment: the others take its place.
    from onboard.crew.door import DoorSettings
    from onboard.crew.keys import pairing_folder
    from onboard.crew.listen_places import listening_places
    from onboard.daemon import lean_memory
    from onboard.daemon.ending import Ending
    from onboard.daemon.run_settings import Settings
    from onboard.daemon.service import Service
    from onboard.efficiency.advice.target import Aim

    # A watchdog that strikes then leaves in the log where the daemon hung.
    if sys.stderr is not None:  # closed from outside
        faulthandler.enable()
    for handler in logging.getLogger().handlers:
        handler.addFilter(QuietFilter())
    profile, text = Profile(), None
    if arguments.profile:
        profile, text = read_profile(arguments.profile)
    connection = arguments.link or profile.link.connection
    kept = record_folder(arguments, profile)
    record: Path | None = kept
    if arguments.no_record or (connection.startswith("file:") and not arguments.record):
        record = None
    folder = pairing_folder(kept)
    listen, crew = listening_places(profile.feed, folder, arguments.listen, arguments.crew_listen)
    settings = Settings(
        profile=profile,
        connection=connection,
        baud=arguments.baud or profile.link.baud,
        system_id=arguments.system_id,
        listen=listen,
        record=record,
        profile_text=text,
        aim=Aim(arguments.target_distance_m, arguments.target_speed_mps, arguments.target_power_w),
        profile_path=arguments.profile,
        door=crew and DoorSettings(*crew, folder, profile.craft.name, profile.feed.viewers_most),
    )

    lean_memory.begin()

    async def serve() -> None:
        ending = Ending()
        ending.guard()
        await Service(settings, ending).run()

    asyncio.run(serve())
    return 0


def check(arguments: argparse.Namespace) -> int:
    """Check ashore whether all is fit; give 1 if something is bad."""
    from onboard.ashore.findings import Verdict, worst
    from onboard.ashore.gathering import CheckSettings, gather
    from onboard.ashore.report import FIRST, as_dict, as_lines, judge
    from onboard.crew.keys import pairing_folder
    from onboard.crew.listen_places import listening_places

    profile = load_profile(arguments.profile) if arguments.profile else Profile()
    connection = arguments.link or profile.link.connection
    kept = record_folder(arguments, profile)
    record = None if connection.startswith("file:") and not arguments.record else kept
    folder = pairing_folder(kept)
    listen, crew = listening_places(profile.feed, folder, arguments.listen, arguments.crew_listen)
    settings = CheckSettings(
        profile=profile,
        profile_path=arguments.profile,
        connection=connection,
        baud=arguments.baud or profile.link.baud,
        system_id=arguments.system_id,
        listen=listen,
        record=record,
        pairing=folder,
        crew=crew,
        seconds_s=arguments.seconds,
    )
    # Before anything else, where people look: programs read stdout.
    told = sys.stderr if arguments.json else sys.stdout
    print(FIRST, f"Listening for {arguments.seconds:g} s ...", sep="\n", file=told, flush=True)
    facts = gather(settings)
    findings = judge(facts)
    if arguments.json:
        print(json.dumps(as_dict(facts, findings), indent=2))
    else:
        print(*as_lines(findings, min(shutil.get_terminal_size().columns, 100)), sep="\n")
    return 1 if worst(findings) is Verdict.BAD else 0


def install_service(arguments: argparse.Namespace) -> int:
    """Write or print the unit, and say what to do next."""
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


def pair(arguments: argparse.Namespace) -> int:
    """Open the feed to one more viewer, or say and change who is in."""
    from onboard.crew.pair_command import run_pair

    profile = load_profile(arguments.profile) if arguments.profile else Profile()
    return run_pair(arguments, profile, record_folder(arguments, profile))


COMMANDS = {"run": run, "check": check, "pair": pair, "install-service": install_service}


def main(argv: list[str] | None = None) -> int:
    """Run a command; give its exit code: 0, 1 for a bad check, or 2 with one line on stderr."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or (words[0].startswith("-") and words[0] not in ("-h", "--help", "--version")):
        words.insert(0, "run")
    arguments = parser().parse_args(words)
    logging.basicConfig(level=logging.INFO, format="wattwake: %(message)s", stream=sys.stderr)
    try:
        code = COMMANDS[arguments.command](arguments)
        if sys.stdout is not None:
            sys.stdout.flush()
        return code
    except OSError as problem:
        if problem.errno not in (errno.EPIPE, errno.ENOSPC):
            raise
        # Whoever read our lines has gone, or what they are written to is full.
        let_stdout_go()
        log.error("stdout cannot be written: %s", problem.strerror)
        return 1
    except WattwakeError as problem:
        print(f"wattwake-onboard: {problem}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main())
