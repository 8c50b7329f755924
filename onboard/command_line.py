"""The command line of the daemon: `python -m onboard`, installed as `wattwake-onboard`."""

import argparse
import errno
import logging
import sys
from typing import Final

from onboard import __version__
from onboard.ashore.check_command import CHECK
from onboard.ashore.install_command import INSTALL_SERVICE
from onboard.crew.pair_options import PAIR
from onboard.daemon.print_line import discard_stdout
from onboard.daemon.run_command import RUN
from onboard.errors import WattwakeError
from onboard.options import Command, OneLineParser, add_commands

COMMANDS: Final = (RUN, CHECK, PAIR, INSTALL_SERVICE)
"""One row per command, in the order of `--help`."""

log = logging.getLogger("wattwake")


def main(argv: list[str] | None = None) -> int:
    """Run a command; return its exit code: 0, 1 for a bad check, or 2 with one line on stderr."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or (words[0].startswith("-") and words[0] not in ("-h", "--help", "--version")):
        words.insert(0, RUN.name)
    parser, commands = _parser()
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


def _parser() -> tuple[argparse.ArgumentParser, dict[str, Command]]:
    parser = OneLineParser(
        prog="wattwake-onboard",
        description=RUN.description,
        epilog=f"options of the daemon: wattwake-onboard run --help; example: {RUN.example}",
    )
    parser.add_argument("--version", action="version", version=f"wattwake {__version__}")
    return parser, add_commands(parser, COMMANDS, required=False)
