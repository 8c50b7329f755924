"""Common parts of both command lines: the table of commands, one-line errors, options."""

import argparse
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import NoReturn

from onboard.dataclass import dataclass
from onboard.profile import Profile

DIGITS_MOST = 60
"""Longest number that is parsed: Python refuses thousands of digits."""


@dataclass(frozen=True)
class Command:
    """A row of a command line's table of commands.

    Parameters
    ----------
    name, help
        As the program's `--help` shows them.
    example
        A command line to try.
    add_arguments
        Adds its options to a parser.
    run
        Runs it and returns the exit code; heavy imports go inside, to keep `--help` quick.
    description
        The head of its own `--help`; its `help` if empty.
    """

    name: str
    help: str
    example: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]
    description: str = ""


class OneLineParser(argparse.ArgumentParser):
    """Report a wrong option in one line."""

    def error(self, message: str) -> NoReturn:
        """Print one line and exit with 2."""
        self.exit(2, f"{self.prog}: {message} (see --help)\n")


CommandPlaces = Mapping[str, tuple[str, str]]
"""The module of each command, and its row there, by the command's name in the order of `--help`."""


def load_commands(places: CommandPlaces, words: Sequence[str]) -> tuple[Command, ...]:
    """Return the command named by the first word; all of them for `--help` or a wrong name.

    A module is loaded only if its command is: to start all that a program can do takes longer than
    most of it.
    """
    names = words[:1] if words and words[0] in places else tuple(places)
    return tuple(getattr(import_module(places[name][0]), places[name][1]) for name in names)


def add_commands(
    parser: OneLineParser, commands: Iterable[Command], *, required: bool
) -> dict[str, Command]:
    """Add a sub-parser for each command; return the commands by name.

    Parameters
    ----------
    parser
        The program's parser.
    commands
        In the order of `--help`.
    required
        Whether a command must be named.
    """
    rows = parser.add_subparsers(dest="command", metavar="COMMAND", required=required)
    found = {}
    for command in commands:
        command.add_arguments(
            rows.add_parser(
                command.name,
                help=command.help,
                description=command.description or command.help,
                epilog=f"example: {command.example}",
            )
        )
        found[command.name] = command
    return found


def whole_number(least: int, most: int) -> Callable[[str], int]:
    """Return a function that parses a whole number within limits."""

    def read(text: str) -> int:
        number = int(text) if text.isdecimal() and len(text) <= DIGITS_MOST else least - 1
        if not least <= number <= most:
            wanted = f"expected a whole number from {least} to {most}"
            raise argparse.ArgumentTypeError(f"{text[:DIGITS_MOST]}: {wanted}")
        return number

    return read


def number_between(least: float, most: float) -> Callable[[str], float]:
    """Return a function that parses a number within limits."""

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


def add_profile(parser: argparse.ArgumentParser) -> None:
    """Add `--profile`."""
    parser.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")


def add_system_id(parser: argparse.ArgumentParser) -> None:
    """Add `--system-id`."""
    parser.add_argument(
        "--system-id", type=whole_number(1, 255), metavar="N", help="follow this MAVLink system"
    )


def add_json(parser: "argparse.ArgumentParser | argparse._MutuallyExclusiveGroup") -> None:
    """Add `--json`, for commands that print results."""
    parser.add_argument("--json", action="store_true", help="print JSON, for other programs")


def default_record() -> Path:
    """Return the folder for records if neither option nor profile names one."""
    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(base) / "wattwake" / "sessions"


def record_folder(given: Path | None, profile: Profile) -> Path:
    """Return the folder for records: the one given, the profile's, or the default."""
    return given or Path(profile.record.directory or default_record()).expanduser()
