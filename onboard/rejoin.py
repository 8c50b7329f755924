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

from onboard.block import Block
from onboard.errors import LogError
from onboard.kept import Clocks, clocks_as_dict, same_trip
from onboard.profile import Profile
from onboard.ride import Ride
from onboard.telemetry.decoder import Decoder
from onboard.telemetry.frames import Frames
from onboard.telemetry.log_files import OpenLog, find_log
from onboard.telemetry.scanner import LogScanner
from onboard.telemetry.telemetry_log import read_log

CARRIED_NAME = "carried.json"
"""In a session's folder: what was kept from before when its trip began; see `Ride.kept`."""

DECIDE_AFTER_S = 20.0
"""By then an autopilot that knows the time of day has said so."""

TAIL_BYTES = 1 << 18
"""So much of a record's end tells what the autopilot's clocks were."""

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
    """A session's folder, what was said in it, and up to which stamp it is wanted [us]."""

    folder: Path
    said: Sequence[Said] = ()
    until_us: int | None = None


def carried_text(kept: dict[str, Any] | None) -> str:
    """Give what a trip begins with as text, to be kept in the folder of its first session."""
    return json.dumps(kept or {}) + "\n"


def load_carried(folder: Path) -> dict[str, Any] | None:
    """Read what a trip began with; None where there is nothing to be used."""
    try:
        carried = json.loads((folder / CARRIED_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return carried if isinstance(carried, dict) and carried else None


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
            windows = read_log(session.folder)
            if session.until_us is not None:
                windows = _until(windows, session.until_us)
            replay(ride, windows, session.said)
        except LogError as problem:
            log.warning("%s: this part of the trip is missing", problem)
    return ride


def last_clocks(folder: Path, system_id: int | None = None) -> Clocks:
    """Give the autopilot's clocks at the end of a record; NaN where it tells none.

    Parameters
    ----------
    folder
        The session's folder.
    system_id
        The MAVLink system to follow; None follows the one that sends most.
    """
    nothing = Clocks(math.nan, math.nan, math.nan)
    try:
        with OpenLog(find_log(folder)) as log:
            tail = log.tail(TAIL_BYTES)
    except (LogError, OSError):
        return nothing
    decoder = Decoder(system_id)
    frames = LogScanner(in_step=False).push(tail, final=True)
    utc_s, utc_at_s, last_s = math.nan, 0.0, 0.0
    for block in (decoder.push(frames), decoder.finish()):
        last_s = max([last_s, *(float(one.t_s[-1]) for one in block.channels.values())])
        clock = block.get("clock")
        if clock is not None and np.isfinite(clock["utc_s"]).any():
            last = int(np.flatnonzero(np.isfinite(clock["utc_s"]))[-1])
            utc_s, utc_at_s = float(clock["utc_s"][last]), float(clock.t_s[last])
    return Clocks(decoder.time.boot_s, utc_s + last_s - utc_at_s, math.nan)


def replay(ride: Ride, windows: Iterable[Frames | Block], said: Sequence[Said]) -> None:
    """Give a ride what was recorded, and what was said in between at its time.

    Parameters
    ----------
    ride
        Before anything of it.
    windows
        Frames, or blocks where a log gives its channels at once: nothing is placed among those.
    said
        What was said.
    """
    left = sorted(said, key=lambda one: one.stamp_us)
    for window in windows:
        for part in [window] if isinstance(window, Block) else in_order(window, left):
            if isinstance(part, Frames | Block):
                ride.take(part)
            else:
                part.apply(ride)
    for one in left:
        one.apply(ride)


def _until(windows: Iterable[Frames], until_us: int) -> Iterator[Frames]:
    for frames in windows:
        yield frames.where(frames.stamp_us <= until_us)


def in_order(frames: Frames, left: list[Said]) -> Iterator[Frames | Said]:
    """Give the frames in parts, and what was said behind the frames that came before it.

    Parameters
    ----------
    frames
        In order.
    left
        What was said and is still to be given, in order; what is given is taken out of it.
    """
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
    """Decides whether the trip is the same as before, and holds what comes until that is known.

    Parameters
    ----------
    before
        The autopilot's clocks when it was last heard.
    """

    before: Clocks
    held: list[Frames | Said] = field(default_factory=list)
    """What came and was said since the daemon started."""
    _count: int = 0
    _since_s: float = math.nan

    def take(self, part: Frames | Said) -> None:
        """Hold frames that the ride of now was given, or what was said to it."""
        if not isinstance(part, Frames):
            self.held.append(part)
        elif len(part):
            self.held.append(part)
            self._count += len(part)

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
        return same_trip({"clocks": clocks_as_dict(self.before)}, clocks)
