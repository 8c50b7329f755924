"""Run the command `review`."""

import argparse
import functools
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from groundside.reports.log_progress import progress_bar
from groundside.reports.review.folders import logs_in
from groundside.reports.review.parallel_review import ReviewOutcome, review_logs
from groundside.reports.review.review_output import as_json, as_lines, as_tables
from groundside.reports.text_layout import print_report
from groundside.words.units import units_named
from onboard.errors import UsageError
from onboard.profile import profile_for

PICTURES = (".png", ".svg")


def run_review(arguments: argparse.Namespace) -> int:
    """Review logs; return the exit code, 2 if one of them cannot be read.

    Raises
    ------
    UsageError
        If options contradict each other, before any log is read; if a file cannot be written.
    """
    if arguments.units:
        units_named(arguments.units)
    paths = logs_in(arguments.logs)
    _check_files(arguments, paths)
    draws = arguments.plot is not None or arguments.html is not None
    profile_of = functools.partial(profile_for, arguments.profile)
    with progress_bar(paths) as progress:
        outcomes = review_logs(paths, profile_of, arguments.system_id, progress, draws=draws)
    _print(outcomes, arguments)
    problems = [one.problem for one in outcomes if one.problem is not None]
    for problem in problems:
        print(f"wattwake-groundside: {problem}", file=sys.stderr)
    if draws and len(problems) < len(outcomes):
        _write_files(outcomes, arguments)
    return 2 if problems else 0


def _check_files(arguments: argparse.Namespace, paths: Sequence[Path]) -> None:
    """Refuse output files of other types, above all a log given by mistake."""
    plot, html = arguments.plot, arguments.html
    if plot is None and html is None:
        if arguments.no_track:
            raise UsageError("--no-track: goes with --plot or --html")
        return
    if plot is not None and plot.suffix.lower() not in PICTURES:
        raise UsageError(f"--plot {plot}: expected a name that ends in .png or .svg")
    from groundside.reports.drawing import need_matplotlib
    from groundside.reports.report_files import check_page

    if html is not None:
        check_page(html)
    if plot is not None and len(paths) > 1:
        raise UsageError("--plot: draws one log; for several use --html, which has all on one page")
    need_matplotlib("review")


def _print(outcomes: Sequence[ReviewOutcome], arguments: argparse.Namespace) -> None:
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A name may contain characters that the output's encoding lacks.
        sys.stdout.reconfigure(errors="backslashreplace")
    if arguments.csv:
        from groundside.reports.review.csv_rows import as_csv

        sys.stdout.write(as_csv(outcomes))
    elif len(outcomes) == 1 and outcomes[0].result is None:
        return  # only its problem is printed, on stderr
    elif not arguments.json and _has_terminal():
        from groundside.reports.review.rich_tables import print_tables

        print_tables(as_tables(outcomes, arguments.units))
    else:
        lines = as_lines(outcomes, arguments.units)
        print_report(arguments.json, lambda: as_json(outcomes), lines)


def _has_terminal() -> bool:
    return sys.stdout.isatty() and os.environ.get("TERM", "") not in ("", "dumb")


def _write_files(outcomes: Sequence[ReviewOutcome], arguments: argparse.Namespace) -> None:
    from groundside.reports.report_files import write_report
    from groundside.reports.review.html_page import html_page
    from groundside.reports.review.pictures import plot_file
    from groundside.reports.review.season_table import named_reviews

    tracks = not arguments.no_track
    if arguments.plot is not None:
        (ride,) = named_reviews(outcomes)
        write_report(
            arguments.plot, plot_file(ride, arguments.units, arguments.plot.suffix, tracks)
        )
    if arguments.html is not None:
        write_report(arguments.html, html_page(outcomes, arguments.units, tracks))
