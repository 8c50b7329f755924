"""The command line of the viewer: `python -m groundside`, installed as `wattwake-groundside`."""

import argparse
import os
import sys
from typing import Final

from groundside.browser.serve_command import SERVE
from groundside.dashboard.watch_command import WATCH
from groundside.demo.demo_command import DEMO
from groundside.replay.replay_command import REPLAY
from groundside.reports.compare.compare_options import COMPARE
from groundside.reports.plan.plan_options import PLAN
from groundside.reports.reconcile.reconcile_options import RECONCILE
from groundside.reports.review.review_options import REVIEW
from groundside.reports.sessions.sessions_options import SESSIONS
from onboard import __version__
from onboard.errors import WattwakeError
from onboard.options import Command, OneLineParser, add_commands

COMMANDS: Final = (WATCH, SERVE, REPLAY, REVIEW, DEMO, PLAN, COMPARE, RECONCILE, SESSIONS)
"""One row per command, in the order of `--help`."""


def main(argv: list[str] | None = None) -> int:
    """Run a command; return its exit code, or 2 after printing one line on stderr."""
    parser, commands = _parser()
    arguments = parser.parse_args(argv)
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


def _parser() -> tuple[argparse.ArgumentParser, dict[str, Command]]:
    parser = OneLineParser(
        prog="wattwake-groundside",
        description="Shows what the daemon on the craft says, and reads saved logs.",
        epilog="example: wattwake-groundside watch 192.0.2.7",
    )
    parser.add_argument("--version", action="version", version=f"wattwake {__version__}")
    return parser, add_commands(parser, COMMANDS, required=True)
