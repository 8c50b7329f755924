"""A trip that goes on after the daemon was away: its records are folded again, and on it goes.

The record is the truth, so nothing else needs saving: totals, windows, curve and battery come out
as if the daemon had never been away. What the autopilot drew meanwhile is a gap like any other.
"""

import json
import logging
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from onboard.errors import LogError
from onboard.kept import Clocks, same_trip
from onboard.profile import Profile
from onboard.ride import Ride
from onboard.telemetry.frames import Frames
from onboard.telemetry.telemetry_log import read_log

CARRIED_NAME = "carried.json"
"""In a session's folder: the curves that were known when its trip began."""

DECIDE_AFTER_S = 20.0
"""By then an autopilot that knows the time of day has said so."""

HELD_MOST = 20_000
"""Frames kept until it is decided; an autopilot that is silent for so long began anew."""

log = logging.getLogger("wattwake")


class Said(Protocol):
    """Something that was said to the daemon, at a time of receipt."""

    @property
    def stamp_us(self) -> int:
        """When [us since the Unix epoch, by the session's clock]."""

    def apply(self, ride: Ride) -> None:
        """Do it to a ride."""


@dataclass(frozen=True)
class Session:
    """A session's folder, and what was said in it."""

    folder: Path
    said: Sequence[Said] = ()


def save_carried(folder: Path, kept: dict[str, Any] | None) -> None:
    """Write down what a trip begins with, in the folder of its first session.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    curves = (kept or {}).get("curves")
    (folder / CARRIED_NAME).write_text(json.dumps({"curves": curves}), encoding="utf-8")


def load_carried(folder: Path) -> dict[str, Any] | None:
    """Read what a trip began with; None where there is nothing to be used."""
    try:
        carried = json.loads((folder / CARRIED_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return carried if isinstance(carried, dict) and carried.get("curves") is not None else None


def refold(profile: Profile, system_id: int | None, sessions: Sequence[Session]) -> Ride:
    """Fold the records of a trip's sessions, oldest first.

    Parameters
    ----------
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    sessions
        At least one. A record that cannot be read is passed over, and said.
    """
    try:
        ride = Ride(profile, system_id, load_carried(sessions[0].folder))
    except ValueError as problem:
        log.warning("%s: the trip goes on without what was learned before it", problem)
        ride = Ride(profile, system_id)
    for session in sessions:
        try:
            replay(ride, read_log(session.folder), session.said)
        except LogError as problem:
            log.warning("%s: this part of the trip is missing", problem)
    return ride


def replay(ride: Ride, windows: Iterable[Frames], said: Sequence[Said]) -> None:
    """Give a ride recorded frames, and what was said in between at its time."""
    left = sorted(said, key=lambda one: one.stamp_us)
    for frames in windows:
        for part in _upto(frames, left):
            if isinstance(part, Frames):
                ride.take(part)
            else:
                part.apply(ride)
    for one in left:
        one.apply(ride)


def _upto(frames: Frames, left: list[Said]) -> Iterator[Frames | Said]:
    """Give the frames in parts, and what was said behind the frames that came before it."""
    begin = 0
    while left:
        later = np.flatnonzero(frames.stamp_us[begin:] > left[0].stamp_us)
        if not len(later):
            break
        end = begin + int(later[0])
        if end > begin:
            yield frames.where(np.arange(begin, end))
        yield left.pop(0)
        begin = end
    rest = frames if not begin else frames.where(np.arange(begin, len(frames)))
    if len(rest) or not begin:
        yield rest


@dataclass
class Rejoin:
    """Decides whether the trip is the same as before, and holds the frames until that is known.

    Parameters
    ----------
    kept
        What was kept when the daemon last ran; see `Ride.kept`.
    """

    kept: dict[str, Any]
    _held: list[Frames] = field(default_factory=list)
    _count: int = 0
    _since_s: float = math.nan

    def take(self, frames: Frames) -> None:
        """Hold frames that the ride of now was given."""
        if len(frames):
            self._held.append(frames)
            self._count += len(frames)

    def verdict(self, clocks: Clocks, now_s: float) -> bool | None:
        """Tell whether it is the same trip; None while the autopilot has not said enough.

        Parameters
        ----------
        clocks
            The autopilot's, NaN where not heard yet.
        now_s
            The caller's monotonic clock [s].
        """
        if not math.isfinite(clocks.boot_s):
            return False if self._count > HELD_MOST else None
        if math.isnan(self._since_s):
            self._since_s = now_s
        if not math.isfinite(clocks.utc_s) and now_s - self._since_s < DECIDE_AFTER_S:
            return None
        return same_trip(self.kept, clocks)

    def hand_over(self, ride: Ride) -> None:
        """Give the held frames to the ride that was folded from the records."""
        for frames in self._held:
            ride.take(frames)
        self._held.clear()
