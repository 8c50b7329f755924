"""Show a source: on the dashboard if there is a terminal, else as plain lines."""

import argparse
import asyncio
import signal
import sys

from groundside.connection.preferences import Preferences, preferences_path
from groundside.connection.source import SnapshotSource, SourceWrapper, Update
from groundside.connection.target_source import TargetSource
from groundside.dashboard.plain import run_plain
from groundside.terminal import is_touch, usable_terminal
from groundside.words.trip_sums import trip_summary_lines
from groundside.words.units import CHOICES, Units, units_named
from onboard.contract.snapshot import Snapshot


def is_plain(arguments: argparse.Namespace) -> bool:
    """Return whether to show plain lines: if requested, or if no dashboard can be drawn."""
    return arguments.plain or not usable_terminal()


def rider_units(arguments: argparse.Namespace, usual: str = "km/h") -> Units:
    """Return the rider's units: those requested, else the dashboard's last, else the usual ones."""
    if arguments.units:
        return units_named(arguments.units)
    stored = None if is_plain(arguments) else Preferences(preferences_path()).get("units")
    return CHOICES.get(stored or "") or units_named(usual)


def show(
    arguments: argparse.Namespace, source: SnapshotSource, units: Units, *, summary: bool = True
) -> int:
    """Show a source on the dashboard, or as plain lines; return the exit code.

    Parameters
    ----------
    arguments
        The command line, with the options of `add_display`.
    source
        Where snapshots come from.
    units
        The rider's units.
    summary
        Whether plain lines end with the trip's sums.
    """
    target_m = arguments.target_distance_m
    if target_m is not None:
        source = TargetSource(source, target_m)
    if is_plain(arguments):
        return show_plain(source, units, summary=summary)
    return show_dashboard(source, units, target_m)


class _LastSnapshot(SourceWrapper):
    """A source that stores the last snapshot of another."""

    last: Snapshot | None = None

    def adapt(self, update: Update) -> Update:
        self.last = update.snapshot or self.last
        return update


def show_plain(source: SnapshotSource, units: Units, *, summary: bool) -> int:
    """Print a line per second, and at the end the trip's sums.

    Parameters
    ----------
    source
        Where snapshots come from.
    units
        The rider's units.
    summary
        Whether to print the sums.

    Returns
    -------
    int
        The exit code.
    """
    wrapped = _LastSnapshot(source)
    code = asyncio.run(_until_signal(wrapped, units))
    if summary and wrapped.last is not None:
        print("\n".join(["", *trip_summary_lines(wrapped.last.trip, units)]), flush=True)
    return code


async def _until_signal(source: SnapshotSource, units: Units) -> int:
    """Run until the source ends or a signal arrives, and clean up either way."""
    lines = asyncio.ensure_future(run_plain(source, sys.stdout, units=units))
    loop = asyncio.get_running_loop()
    received: list[int] = []

    def stop(number: int) -> None:
        received.append(number)
        lines.cancel()

    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        loop.add_signal_handler(number, stop, number)
    try:
        await lines
    except asyncio.CancelledError:
        if not received:
            raise
    # Ctrl-C is the way to end a live view, not a failure.
    return 128 + received[0] if received and received[0] != signal.SIGINT else 0


def show_dashboard(source: SnapshotSource, units: Units, target_distance_m: float | None) -> int:
    """Run the dashboard until the rider leaves it; return the exit code."""
    from groundside.dashboard.app import make_app

    app = make_app(
        source,
        units=units,
        target_distance_m=target_distance_m,
        preferences=Preferences(preferences_path()),
        touch=is_touch(),
    )
    app.run()
    return app.return_code or 0
