"""The command line of the daemon: `python -m onboard`, installed as `wattwake-onboard`."""

import argparse
import errno
import logging
import sys
from collections.abc import Sequence
from typing import Final

from onboard import __version__
from onboard.daemon.print_line import discard_stdout
from onboard.errors import WattwakeError
from onboard.options import Command, CommandPlaces, OneLineParser, add_commands, load_commands

RUN: Final = "run"
"""The command if none is named."""

COMMANDS: Final[CommandPlaces] = {
    RUN: ("onboard.daemon.run_command", "RUN"),
    "check": ("onboard.ashore.check_command", "CHECK"),
    "pair": ("onboard.crew.pair_options", "PAIR"),
    "install-service": ("onboard.ashore.install_command", "INSTALL_SERVICE"),
}

log = logging.getLogger("wattwake")


def main(argv: list[str] | None = None) -> int:
    """Run a command; return its exit code: 0, 1 for a bad check, or 2 with one line on stderr."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or (words[0].startswith("-") and words[0] not in ("-h", "--help", "--version")):
        words.insert(0, RUN)
    parser, commands = _parser(words)
    arguments = parser.parse_args(words)
    logging.basicConfig(level=logging.INFO, format="wattwake: %(message)s", stream=sys.stderr)
    try:
        code = commands[arguments.command].run(arguments)
        if sys.stdout is not None:
            sys.stdout.flush()
        return code
    except OSError as problem:
        if problem.errno not in (errno.EPIPE, errno.ENOSPC):
            raise
        # The reader of stdout has gone, or its file is on a full disk.
        discard_stdout()
        log.error("stdout cannot be written: %s", problem.strerror)
        return 1
    except WattwakeError as problem:
        print(f"wattwake-onboard: {problem}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


def _parser(words: Sequence[str]) -> tuple[argparse.ArgumentParser, dict[str, Command]]:
    commands = load_commands(COMMANDS, words)
    # Of `run` where the program's own help is asked for: then all of them are loaded.
    first = commands[0]
    parser = OneLineParser(
        prog="wattwake-onboard",
        description=first.description,
        epilog=f"options of the daemon: wattwake-onboard run --help; example: {first.example}",
    )
    parser.add_argument("--version", action="version", version=f"wattwake {__version__}")
    return parser, add_commands(parser, commands, required=False)
