"""The command `review`."""

import argparse
import functools
import io
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from groundside.options import add_units
from onboard.errors import UsageError
from onboard.options import Command, add_json, add_profile, add_system_id

if TYPE_CHECKING:
    from groundside.reports.review.many import Reviewed

PICTURES = (".png", ".svg")
PAGES = (".html", ".htm")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "logs",
        type=Path,
        metavar="LOG",
        nargs="+",
        help="telemetry log, on-board log or session",
    )
    add_profile(parser)
    add_system_id(parser)
    printed = parser.add_mutually_exclusive_group()
    add_json(printed)
    printed.add_argument(
        "--csv",
        action="store_true",
        help="print comma-separated values: a row a log, SI units, empty where nothing is known",
    )
    parser.add_argument(
        "--plot",
        type=Path,
        metavar="FILE",
        help="draw one log into a .png or .svg file: power by speed, energy, consumption, track",
    )
    parser.add_argument(
        "--html",
        type=Path,
        metavar="FILE",
        help="write a page that needs nothing else: tables and pictures of all logs. It holds the "
        "track, which shows where you set off and where you live: think before you pass it on",
    )
    parser.add_argument(
        "--no-track", action="store_true", help="leave the track out of --plot and --html"
    )
    add_units(parser)


def run_review(arguments: argparse.Namespace) -> int:
    """Review logs; give the exit code: 2 where one of them could not be read.

    Raises
    ------
    UsageError
        If what is asked for cannot be done, before any log is read; if a file cannot be written.
    """
    from groundside.reports.progress import progress_bar
    from groundside.reports.review.many import review_many, size_bytes
    from groundside.words.units import units_named
    from onboard.profile import profile_for

    paths: list[Path] = arguments.logs
    if arguments.units:
        units_named(arguments.units)
    _check_files(arguments)
    draws = arguments.plot is not None or arguments.html is not None
    profile_of = functools.partial(profile_for, arguments.profile)
    what = f"reading {paths[0].name}" if len(paths) == 1 else f"reading {len(paths)} logs"
    with progress_bar(sum(map(size_bytes, paths)), what) as progress:
        reviewed = review_many(paths, profile_of, arguments.system_id, progress, draws=draws)
    _print(reviewed, arguments)
    problems = [one.problem for one in reviewed if one.problem is not None]
    for problem in problems:
        print(f"wattwake-groundside: {problem}", file=sys.stderr)
    if draws and len(problems) < len(reviewed):
        _write_files(reviewed, arguments)
    return 2 if problems else 0


def _check_files(arguments: argparse.Namespace) -> None:
    """Refuse what cannot be written, above all a log given where a file to write was meant."""
    plot, html = arguments.plot, arguments.html
    if plot is None and html is None:
        if arguments.no_track:
            raise UsageError("--no-track: goes with --plot or --html")
        return
    if plot is not None and plot.suffix.lower() not in PICTURES:
        raise UsageError(f"--plot {plot}: expected a name that ends in .png or .svg")
    if html is not None and html.suffix.lower() not in PAGES:
        raise UsageError(f"--html {html}: expected a name that ends in .html")
    if plot is not None and len(arguments.logs) > 1:
        raise UsageError("--plot: draws one log; for several use --html, which has all on one page")
    from groundside.reports.review.pictures import need_matplotlib

    need_matplotlib()


def _print(reviewed: Sequence["Reviewed"], arguments: argparse.Namespace) -> None:
    from groundside.reports.review.csv_rows import as_csv
    from groundside.reports.review.review_output import as_json, as_lines, as_sections

    if isinstance(sys.stdout, io.TextIOWrapper):
        # A name may hold letters that a terminal or a pipe of few letters cannot take.
        sys.stdout.reconfigure(errors="backslashreplace")
    if arguments.csv:
        sys.stdout.write(as_csv(reviewed))
    elif arguments.json:
        if (found := as_json(reviewed)) is not None:
            print(json.dumps(found, indent=2, allow_nan=False))
    elif _draws_tables():
        from groundside.reports.review.table import print_tables

        print_tables(as_sections(reviewed, arguments.units))
    else:
        for line in as_lines(reviewed, arguments.units):
            print(line)


def _draws_tables() -> bool:
    return sys.stdout.isatty() and os.environ.get("TERM", "") not in ("", "dumb")


def _write_files(reviewed: Sequence["Reviewed"], arguments: argparse.Namespace) -> None:
    from groundside.reports.review.page import page
    from groundside.reports.review.pictures import plot_file
    from groundside.reports.review.several import readable

    tracks = not arguments.no_track
    if arguments.plot is not None:
        (ride,) = readable(reviewed)
        _write(arguments.plot, plot_file(ride, arguments.units, arguments.plot.suffix, tracks))
    if arguments.html is not None:
        _write(arguments.html, page(reviewed, arguments.units, tracks))


def _write(path: Path, content: str | bytes) -> None:
    from onboard.files.whole_file import write_whole

    try:
        write_whole(path, content)
    except OSError as problem:
        raise UsageError(f"{path}: cannot be written ({problem.strerror})") from None


REVIEW: Final = Command(
    "review",
    "sum up saved logs",
    "sum up saved logs",
    "wattwake-groundside review ride.tlog --html ride.html",
    add_arguments,
    run_review,
)
