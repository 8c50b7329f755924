"""Refolding a trip's records: after a restart, after a fault, or with another profile.

The record is the truth, so nothing else needs saving: totals, windows, curve and battery come out
as if the daemon had never been away. Its absence is a gap like any other.
"""

import json
import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from onboard.block import Block
from onboard.dataclass import dataclass
from onboard.errors import LogError
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import find_log, log_bytes, missing_files, record_files
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames

CARRIED_NAME = "carried.json"
"""In a session's folder: the state carried over from before its trip; see `Ride.saved_state`."""

log = logging.getLogger("wattwake")


class TimedAction(Protocol):
    """An action on a ride at a stamp, such as a `TimedCommand`."""

    @property
    def stamp_us(self) -> int:
        """Time by the session's clock [us since the Unix epoch]."""

    def apply(self, ride: Ride) -> None:
        """Apply it to a ride."""


@dataclass(frozen=True)
class Session:
    """A recorded session to refold.

    Parameters
    ----------
    folder
        Its folder.
    actions
        The commands accepted in it.
    until_us
        Last stamp wanted [us]; None for all.
    """

    folder: Path
    actions: Sequence[TimedAction] = ()
    until_us: int | None = None


def carried_text(saved: dict[str, Any] | None) -> str:
    """Return the content of a session's `carried.json`."""
    return json.dumps(saved or {}) + "\n"


def load_carried(folder: Path) -> dict[str, Any] | None:
    """Read the initial state of a trip; None if there is no usable one."""
    try:
        carried = json.loads((folder / CARRIED_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return carried if isinstance(carried, dict) and carried else None


def refold(begin: Callable[[dict[str, Any] | None], Ride], sessions: Sequence[Session]) -> Ride:
    """Fold the records of a trip's sessions.

    Parameters
    ----------
    begin
        Begins a ride with the state carried over from before the trip.
    sessions
        At least one, oldest first. A record that cannot be read is skipped with a warning.
    """
    ride = begin(load_carried(sessions[0].folder))
    for session in sessions:
        replay(ride, recorded(session), session.actions)
    return ride


def recorded(session: Session) -> Iterator[Frames]:
    """Yield the recorded frames; an unreadable record ends early, with a warning."""
    if recorded_bytes(session.folder) == 0:
        return
    try:
        if missing := missing_files(find_log(session.folder)):
            names = ", ".join(missing)
            log.warning("%s: %s missing: this part of the trip is in no sum", session.folder, names)
        for frames in read_log(session.folder):
            if session.until_us is None:
                yield frames
            else:
                yield frames.where(frames.stamp_us <= session.until_us)
    except LogError as problem:
        log.warning("%s: this part of the trip is missing", problem)


def recorded_bytes(folder: Path) -> int | None:
    """Return the size of a session's record, None if there is no readable one."""
    try:
        files = record_files(folder)
        return log_bytes(files) if files else None
    except OSError:
        return None


def replay(ride: Ride, windows: Iterable[Frames | Block], actions: Sequence[TimedAction]) -> None:
    """Feed a ride with recorded data, and apply each action at its stamp.

    Parameters
    ----------
    ride
        A new ride.
    windows
        Frames; or blocks, for a log format without frames: then actions come last.
    actions
        The actions, in any order.
    """
    left = sorted(actions, key=lambda action: action.stamp_us)
    for window in windows:
        for part in [window] if isinstance(window, Block) else in_order(window, left):
            if isinstance(part, Frames | Block):
                ride.take(part)
            else:
                part.apply(ride)
    for action in left:
        action.apply(ride)


def in_order(frames: Frames, left: list[TimedAction]) -> Iterator[Frames | TimedAction]:
    """Yield the frames in parts, with each action after the frames that preceded it.

    Parameters
    ----------
    frames
        In order.
    left
        Pending actions, in order; those yielded are removed from it.
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
