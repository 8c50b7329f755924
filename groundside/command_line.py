"""The command line of the viewer: `python -m groundside`, installed as `wattwake-groundside`."""

import argparse
import os
import sys
from collections.abc import Sequence
from typing import Final

from onboard import __version__
from onboard.errors import WattwakeError
from onboard.options import Command, CommandPlaces, OneLineParser, add_commands, load_commands

COMMANDS: Final[CommandPlaces] = {
    "watch": ("groundside.dashboard.watch_command", "WATCH"),
    "serve": ("groundside.browser.serve_command", "SERVE"),
    "replay": ("groundside.replay.replay_command", "REPLAY"),
    "review": ("groundside.reports.review.review_options", "REVIEW"),
    "demo": ("groundside.demo.demo_command", "DEMO"),
    "plan": ("groundside.reports.plan.plan_options", "PLAN"),
    "compare": ("groundside.reports.compare.compare_options", "COMPARE"),
    "reconcile": ("groundside.reports.reconcile.reconcile_options", "RECONCILE"),
    "sessions": ("groundside.reports.sessions.sessions_options", "SESSIONS"),
}


def main(argv: list[str] | None = None) -> int:
    """Run a command; return its exit code, or 2 after printing one line on stderr."""
    words = sys.argv[1:] if argv is None else argv
    parser, commands = _parser(words)
    arguments = parser.parse_args(words)
    try:
        return commands[arguments.command].run(arguments)
    except WattwakeError as problem:
        print(f"wattwake-groundside: {problem}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        # The reader of the output is gone: there is nothing left to print or flush.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except KeyboardInterrupt:
        return 130


def _parser(words: Sequence[str]) -> tuple[argparse.ArgumentParser, dict[str, Command]]:
    parser = OneLineParser(
        prog="wattwake-groundside",
        description="Shows what the daemon on the craft says, and reads saved logs.",
        epilog="example: wattwake-groundside watch 192.0.2.7",
    )
    parser.add_argument("--version", action="version", version=f"wattwake {__version__}")
    return parser, add_commands(parser, load_commands(COMMANDS, words), required=True)
