"""The command line of the viewer: `python -m groundside`, installed as `wattwake-groundside`."""

import sys

if __name__ == "__main__":
    from groundside.program import run

    sys.exit(run())  # which imports this file once more, by its name

import argparse
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from groundside.browser.serve_options import add_arguments as add_serve_arguments
from groundside.connection.source import SnapshotSource
from groundside.reports.log_profile import profile_for
from groundside.reports.reconcile.reconcile_command import add_arguments as add_reconcile_arguments
from groundside.reports.review.review_command import add_arguments as add_review_arguments
from groundside.reports.sessions.sessions_command import add_arguments as add_sessions_arguments
from groundside.terminal import usable_terminal
from groundside.words.units import CHOICES, Units, units_named
from onboard import __version__
from onboard.__main__ import OneLineParser, number_between, system_id
from onboard.errors import UsageError, WattwakeError
from onboard.profile import DEFAULT_FEED_PORT

if TYPE_CHECKING:
    from groundside.connection.finding import Finding

PLAIN_REPLAY_SPEED = 60.0
"""A line a second is then a line a minute of the ride."""


def parser() -> argparse.ArgumentParser:
    """Build the parser of all commands."""
    top = OneLineParser(
        prog="wattwake-groundside",
        description="Shows what the daemon on the craft says, and reads saved logs.",
        epilog="example: wattwake-groundside watch 192.0.2.7",
    )
    top.add_argument("--version", action="version", version=f"wattwake {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)

    def command(name: str, help_: str, example: str) -> argparse.ArgumentParser:
        epilog = f"example: wattwake-groundside {example}"
        return commands.add_parser(name, help=help_, description=help_, epilog=epilog)

    watch = command(
        "watch",
        "show the live figures of a daemon",
        "watch 192.0.2.7 --target-distance-m 20000",
    )
    watch.add_argument(
        "address",
        nargs="?",
        metavar="HOST[:PORT]|NAME|TEXT",
        help=f"where the daemon's feed is, or the pairing text that the craft printed; without, "
        f"127.0.0.1:{DEFAULT_FEED_PORT} is tried, then paired crafts are searched for",
    )
    watch.add_argument("--forget", metavar="NAME", help="forget a craft that was paired with")
    watch.add_argument(
        "--read-only", action="store_true", help="look only: no marks, no targets are set from here"
    )
    serve = command("serve", "offer the dashboard to browsers", "serve --bind 0.0.0.0")
    add_serve_arguments(serve)
    replay = command("replay", "play a saved log on the dashboard", "replay ride.tlog --speed 10")
    review = command("review", "sum up saved logs", "review ride.tlog --html ride.html")
    demo = command("demo", "try it all without hardware, on a simulated ride", "demo")
    kinds = "telemetry log, on-board log or session"
    replay.add_argument("log", type=Path, metavar="LOG", help=kinds)
    review.add_argument("logs", type=Path, metavar="LOG", nargs="+", help=kinds)
    for log_reader in (replay, review):
        log_reader.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
        log_reader.add_argument(
            "--system-id", type=system_id, metavar="N", help="follow this MAVLink system"
        )
    add_review_arguments(review)
    for shown in (watch, replay, demo):
        shown.add_argument(
            "--plain", action="store_true", help="plain lines, also where there is a terminal"
        )
        shown.add_argument(
            "--target-distance-m",
            type=number_between(1, 1e7),
            metavar="M",
            help="distance to make from now on [m]: shows the speed that makes it once the curve "
            "is learned, and the consumption until then",
        )
    for played in (replay, demo):
        played.add_argument(
            "--speed",
            type=number_between(0.1, 10_000),
            metavar="X",
            help="times as fast as it was ridden",
        )
    plan = command(
        "plan",
        "plan the next trip from what was learned",
        "plan --distance-m 20000 --there-and-back",
    )
    plan.add_argument(
        "--distance-m",
        type=number_between(1, 1e6),
        metavar="M",
        required=True,
        help="how far it is from here to there [m]",
    )
    plan.add_argument("--there-and-back", action="store_true", help="and the same way back")
    plan.add_argument(
        "--head-current-mps",
        type=number_between(-20, 20),
        metavar="U",
        default=0.0,
        help="how fast the water comes against you on the way there; negative helps [m/s]",
    )
    plan.add_argument(
        "--battery-wh",
        type=number_between(1, 1e5),
        metavar="WH",
        action="append",
        help="energy of the full pack, in place of the profile's; once for each pack to compare",
    )
    plan.add_argument(
        "--from",
        dest="curve",
        type=Path,
        metavar="PATH",
        help="learn the curve from this log or session; else what the daemon keeps is used",
    )
    plan.add_argument("--setup", metavar="LABEL", help="the set-up to go with")
    plan.add_argument(
        "--speed-mps",
        type=number_between(0.1, 50),
        metavar="V",
        action="append",
        help="look at this speed through the water as well, beyond those seen too",
    )
    plan.add_argument(
        "--mass-kg", type=number_between(1, 1e5), metavar="KG", help="craft, rider and pack [kg]"
    )
    plan.add_argument(
        "--extra-mass-kg",
        type=number_between(-1e4, 1e4),
        metavar="KG",
        default=0.0,
        help="how much heavier it will be: more power by a rule, not by measurement [kg]",
    )
    plan.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
    plan.add_argument("--json", action="store_true", help="print JSON, for other programs")
    compare = command(
        "compare",
        "tell which set-up is better, at equal battery power",
        "compare propellers.toml",
    )
    compare.add_argument(
        "sheets",
        type=Path,
        nargs="+",
        metavar="SHEET",
        help="run sheet (TOML: [[run]] with setup, log and, if you like, start_s and end_s in "
        "seconds from the log's first stamp; or CSV with these columns), or sessions with marks",
    )
    compare.add_argument("--profile", type=Path, metavar="FILE", help="craft profile (TOML)")
    compare.add_argument(
        "--system-id", type=system_id, metavar="N", help="follow this MAVLink system"
    )
    compare.add_argument("--json", action="store_true", help="print JSON, for other programs")
    add_reconcile_arguments(
        command(
            "reconcile",
            "compare what the charger put back with what was counted",
            "reconcile ride.tlog --charged-ah 14.2 --full-to-full",
        )
    )
    sessions = command("sessions", "list, filter and label a season", "sessions --since 2025-06-01")
    add_sessions_arguments(sessions)
    for any_ in (watch, serve, replay, review, plan, compare, sessions, demo):
        any_.add_argument("--units", metavar="UNITS", help=f"one of {', '.join(CHOICES)}")
    return top


def main(argv: list[str] | None = None) -> int:
    """Run a command; give its exit code: 0, or 2 with one line on stderr."""
    arguments = parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = {
        "watch": _watch,
        "serve": _serve,
        "replay": _replay,
        "review": _review,
        "plan": _plan,
        "compare": _compare,
        "reconcile": _reconcile,
        "sessions": _sessions,
        "demo": _demo,
    }[arguments.command]
    try:
        return run(arguments)
    except WattwakeError as problem:
        print(f"wattwake-groundside: {problem}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        # The reader of our lines went away; nothing is left to say, nor to flush.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except KeyboardInterrupt:
        return 130


def _plain(arguments: argparse.Namespace) -> bool:
    return arguments.plain or not usable_terminal()


def _show(arguments: argparse.Namespace, source: SnapshotSource, units: Units) -> int:
    from groundside.connection.target_source import WithTarget
    from groundside.dashboard.show import show_dashboard, show_plain

    target_m = arguments.target_distance_m
    if target_m is not None:
        source = WithTarget(source, target_m)
    if _plain(arguments):
        return show_plain(source, units, summary=arguments.command != "watch")
    return show_dashboard(source, units, target_m)


def _watch(arguments: argparse.Namespace) -> int:
    from groundside.connection.reaching import feed_at
    from groundside.connection.source import Lacking, ReadOnly

    if arguments.forget is not None:
        from groundside.connection.crafts import CraftBook, crafts_path

        CraftBook(crafts_path()).forget(arguments.forget)
        print(f"{arguments.forget} is forgotten here; on it, pair --revoke puts this machine out")
        return 0
    finding = _finding(arguments)
    source: SnapshotSource = feed_at(finding)
    if finding.lacking:
        source = Lacking(source, finding.lacking)
    if arguments.read_only or (finding.craft is not None and finding.craft.role == "viewer"):
        source = ReadOnly(source)
    return _show(arguments, source, _units(arguments))


def _finding(arguments: argparse.Namespace) -> "Finding":
    """Take the feed's address as it was given, or find it; its host is never None."""
    from groundside.connection.reaching import reach

    def say(sentence: str) -> None:
        print(f"wattwake-groundside: {sentence}", file=sys.stderr, flush=True)

    return reach(arguments.address, say)


def _units(arguments: argparse.Namespace, usual: str = "km/h") -> Units:
    """Give the rider's units: as asked for, as remembered by the dashboard, else the usual."""
    from groundside.connection.preferences import Preferences, preferences_path

    if arguments.units:
        return units_named(arguments.units)
    kept = None if _plain(arguments) else Preferences(preferences_path()).get("units")
    return CHOICES.get(kept or "") or units_named(usual)


def _serve(arguments: argparse.Namespace) -> int:
    from groundside.connection.feed_client import shown

    try:
        from groundside.browser.serve_command import run_invite, run_serve
    except ImportError as problem:
        raise UsageError(
            f"serve: {problem.name or problem} is not installed: pip install 'wattwake[serve]'"
        ) from None
    if arguments.invite:
        return run_invite(arguments)
    finding = _finding(arguments)
    watch = [shown(finding.host or "", finding.port)]
    if arguments.units:
        watch += ["--units", units_named(arguments.units).speed_name]
    return run_serve(arguments, watch)


def _replay(arguments: argparse.Namespace) -> int:
    from groundside.replay.player import ReplaySource

    profile = profile_for(arguments.profile, arguments.log)
    plain = _plain(arguments)
    source = ReplaySource(
        arguments.log,
        profile,
        system_id=arguments.system_id,
        speed=arguments.speed or (PLAIN_REPLAY_SPEED if plain else 1.0),
        stays_at_end=not plain,
        target_distance_m=arguments.target_distance_m,
    )
    return _show(arguments, source, _units(arguments, profile.units.speed))


def _review(arguments: argparse.Namespace) -> int:
    from groundside.reports.review.review_command import run_review

    return run_review(arguments)


def _plan(arguments: argparse.Namespace) -> int:
    from groundside.reports.plan.plan_command import run_plan

    return run_plan(arguments)


def _compare(arguments: argparse.Namespace) -> int:
    from groundside.reports.compare.compare_command import run_compare

    return run_compare(arguments)


def _reconcile(arguments: argparse.Namespace) -> int:
    from groundside.reports.reconcile.reconcile_command import run_reconcile

    return run_reconcile(arguments)


def _sessions(arguments: argparse.Namespace) -> int:
    from groundside.reports.sessions.sessions_command import run_sessions

    return run_sessions(arguments)


def _demo(arguments: argparse.Namespace) -> int:
    from groundside.demo.bundled import bundled
    from groundside.demo.source import DemoSource

    plain = _plain(arguments)
    source = DemoSource(
        bundled("harbour_loop.tlog"),
        bundled("harbour_loop.toml"),
        speed=arguments.speed or (None if plain else 4.0),
        stays_at_end=not plain,
        target_distance_m=arguments.target_distance_m,
    )
    return _show(arguments, source, _units(arguments))
