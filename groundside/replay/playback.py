"""Playback of a saved ride: a cursor in its log, the ride it feeds, and the rider's commands.

A playback can be copied at any place; its figures do not depend on how it got there.
"""

import copy
from collections.abc import Sequence
from pathlib import Path

from groundside.connection.source import PlacedEvent
from onboard.efficiency.advice.target import Aim
from onboard.profile import Profile
from onboard.record.marks import TimedCommand, read_marks
from onboard.restarts.refold import TimedAction, in_order, load_carried
from onboard.ride.ride import Ride
from onboard.telemetry.logs.cursors import Cursor
from onboard.telemetry.logs.formats import open_cursor
from onboard.telemetry.mavlink.frames import Frames


class Playback:
    """A ride up to a place in its log.

    Parameters
    ----------
    cursor_
        A cursor at the log's start.
    ride
        The ride, before any of the log has been folded in.
    commands
        The commands given to the daemon during the ride.
    """

    def __init__(self, cursor_: Cursor, ride: Ride, commands: Sequence[TimedCommand] = ()) -> None:
        self._cursor = cursor_
        self.ride = ride
        self._due: list[TimedAction] = sorted(commands, key=lambda one: one.stamp_us)
        self.ended = False
        """Whether the whole log has been played."""
        self.last_us: int | None = None
        """Stamp of the last frame folded in [us]; None in a log without frames."""
        self.commands: list[PlacedEvent] = []
        """Commands given up to here."""

    @property
    def last_s(self) -> float:
        """Place of the last data folded in [s from the log's start]."""
        return self._cursor.last_s

    def advance(self, place_s: float) -> None:
        """Play up to a place [s from the log's start]; it cannot go back."""
        before_s = self.last_s
        for part in self._cursor.upto(place_s):
            if not isinstance(part, Frames):
                self.ride.take(part)
                continue
            self.last_us = end_us = int(part.stamp_us[-1])
            for one in in_order(part, self._due):
                if isinstance(one, Frames):
                    self.ride.take(one)
                else:
                    self._apply(one, max(before_s, self.last_s - (end_us - one.stamp_us) / 1e6))
            before_s = self.last_s
        if self._cursor.ended and not self.ended:
            for one in self._due:
                self._apply(one, self.last_s)
            self._due = []
            self.ride.finish()
            self.ended = True

    def copied(self) -> "Playback":
        """Return an independent copy at the same place."""
        other = copy.copy(self)
        other._cursor = self._cursor.copied()
        other.ride = copy.deepcopy(self.ride)
        other._due, other.commands = list(self._due), list(self.commands)
        return other

    def _apply(self, one: TimedAction, place_s: float) -> None:
        one.apply(self.ride)
        if isinstance(one, TimedCommand):
            self.commands.append(PlacedEvent(place_s, one.command))


def start_playback(
    path: Path, profile: Profile, system_id: int | None, aim: Aim | None
) -> tuple[Playback, float]:
    """Return a playback at the start of a log, and the log's length [s].

    A session's folder is played with its commands, from what was known when its trip began.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    aim
        The rider's target from the start; None for the one set on the water.

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    at_start, duration_s = open_cursor(path)
    carried = load_carried(path) if path.is_dir() else None
    try:
        ride = Ride(profile, system_id, carried)
    except ValueError:  # written by another version: the curves are left out
        ride = Ride(profile, system_id)
    if aim is not None:
        ride.engine.set_aim(aim)
    return Playback(at_start, ride, read_marks(path) if path.is_dir() else ()), duration_s
