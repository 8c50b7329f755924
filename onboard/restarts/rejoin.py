"""A trip that goes on after the daemon was away: its records are folded again first.

The record is the truth, so nothing else needs saving: totals, windows, curve and battery come out
as if the daemon had never been away. What the autopilot drew meanwhile is a gap like any other.
"""

import json
import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from onboard.block import Block
from onboard.errors import LogError
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import find_log, log_bytes, missing_files, record_files
from onboard.telemetry.logs.telemetry_log import read_log
from onboard.telemetry.mavlink.frames import Frames

CARRIED_NAME = "carried.json"
"""In a session's folder: what was kept from before when its trip began; see `Ride.kept`."""

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
    """Return what a trip begins with as text, to be kept in the folder of its first session."""
    return json.dumps(kept or {}) + "\n"


def load_carried(folder: Path) -> dict[str, Any] | None:
    """Read what a trip began with; None where there is nothing to be used."""
    try:
        carried = json.loads((folder / CARRIED_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return carried if isinstance(carried, dict) and carried else None


def refold(begin: Callable[[dict[str, Any] | None], Ride], sessions: Sequence[Session]) -> Ride:
    """Fold the records of a trip's sessions, oldest first.

    Parameters
    ----------
    begin
        Begins a ride with what was kept from before the trip.
    sessions
        At least one. A record that cannot be read is passed over, and said.
    """
    ride = begin(load_carried(sessions[0].folder))
    for session in sessions:
        replay(ride, recorded(session), session.said)
    return ride


def recorded(session: Session) -> Iterator[Frames]:
    """Return what is recorded; where that ends too soon, what was said still counts."""
    if _is_empty(session.folder):
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


def _is_empty(folder: Path) -> bool:
    """Return whether nothing was heard while the record was kept."""
    try:
        files = record_files(folder)
        return bool(files) and not log_bytes(files)
    except OSError:
        return False


def replay(ride: Ride, windows: Iterable[Frames | Block], said: Sequence[Said]) -> None:
    """Return a ride what was recorded, and what was said in between at its time.

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


def in_order(frames: Frames, left: list[Said]) -> Iterator[Frames | Said]:
    """Return the frames in parts, and what was said behind the frames that came before it.

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
