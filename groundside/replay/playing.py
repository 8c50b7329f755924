"""A saved ride on its way: the log's cursor, the ride it feeds, and what was said on the water.

It can be copied where it stands; what it gives at a place does not depend on how it got there.
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


class Playing:
    """A ride up to a place of its log.

    Parameters
    ----------
    cursor_
        At the log's start.
    ride
        The ride, before anything of the log.
    said
        What was said to the daemon meanwhile, in order.
    """

    def __init__(self, cursor_: Cursor, ride: Ride, said: Sequence[TimedCommand] = ()) -> None:
        self._cursor = cursor_
        self.ride = ride
        self._left: list[TimedAction] = sorted(said, key=lambda one: one.stamp_us)
        self._finished = False
        self.said: list[PlacedEvent] = []
        """What was said up to here."""

    @property
    def ended(self) -> bool:
        """Whether the log is played to its end."""
        return self._finished

    @property
    def last_s(self) -> float:
        """Place of the last thing taken in [s from the log's start]."""
        return self._cursor.last_s

    def advance(self, place_s: float) -> None:
        """Go on to a place [s from the log's start]; going back is not possible."""
        before_s = self.last_s
        for part in self._cursor.upto(place_s):
            if not isinstance(part, Frames):
                self.ride.take(part)
                continue
            end_us = int(part.stamp_us[-1])
            for one in in_order(part, self._left):
                if isinstance(one, Frames):
                    self.ride.take(one)
                else:
                    self._say(one, max(before_s, self.last_s - (end_us - one.stamp_us) / 1e6))
            before_s = self.last_s
        if self._cursor.ended and not self._finished:
            for one in self._left:
                self._say(one, self.last_s)
            self._left = []
            self.ride.finish()
            self._finished = True

    def copied(self) -> "Playing":
        """Return one that stands at the same place and goes its own way."""
        other = copy.copy(self)
        other._cursor = self._cursor.copied()
        other.ride = copy.deepcopy(self.ride)
        other._left, other.said = list(self._left), list(self.said)
        return other

    def _say(self, one: TimedAction, place_s: float) -> None:
        one.apply(self.ride)
        if isinstance(one, TimedCommand):
            self.said.append(PlacedEvent(place_s, one.command))


def start_playing(
    path: Path, profile: Profile, system_id: int | None, aim: Aim | None
) -> tuple[Playing, float]:
    """Return a ride at the start of its log, and how long the log lasts [s].

    A session's folder is played with what was known when its trip began, and with what was said.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    aim
        What the rider wants from the start on; None as it was on the water.

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    at_start, duration_s = open_cursor(path)
    carried = load_carried(path) if path.is_dir() else None
    try:
        ride = Ride(profile, system_id, carried)
    except ValueError:  # kept by another version: the curves are left out
        ride = Ride(profile, system_id)
    if aim is not None:
        ride.engine.set_aim(aim)
    return Playing(at_start, ride, read_marks(path) if path.is_dir() else ()), duration_s
