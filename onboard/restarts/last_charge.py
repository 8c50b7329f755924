"""Brings what was kept up to the end of the last record: charge drawn since it was saved counts.

It is saved twice a minute, and a power cut falls in between; a mark set then counts, too. Only what
was recorded since is folded, so that a start costs the same after a minute's ride and a day's.
"""

import contextlib
import logging
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from onboard.errors import LogError
from onboard.profile import Profile
from onboard.record.sessions import read_session
from onboard.restarts.rejoin import Said, Session, load_carried, recorded, replay
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import find_log, log_bytes, opened
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner

TAIL_BYTES, TAIL_MOST_BYTES = 1 << 18, 1 << 24
"""How much of a record's end is read, at first and at most. Charge drawn before that is told by the
autopilot's counter, or counts as unseen."""

log = logging.getLogger("wattwake")


def caught_up(
    profile: Profile, system_id: int | None, kept: dict[str, Any] | None, earlier: Sequence[Session]
) -> dict[str, Any] | None:
    """Return what was kept as it was at the end of the last session.

    Parameters
    ----------
    profile, system_id
        The craft, and the MAVLink system to follow, as for `Ride`.
    kept
        What was written down last, with `at`: up to which place of the records; None where there is
        nothing.
    earlier
        Sessions of the last trip, oldest first.
    """
    if profile.battery is None or not earlier:
        return kept
    try:
        return _caught_up(profile, system_id, kept, earlier)
    except Exception:
        # Whatever went wrong, the new ride is recorded.
        log.exception("charge drawn at the end of the last ride is not counted")
        return kept


def _caught_up(
    profile: Profile, system_id: int | None, kept: dict[str, Any] | None, earlier: Sequence[Session]
) -> dict[str, Any] | None:
    try:
        ride = None if kept is None else Ride(profile, system_id, kept)
    except ValueError as problem:
        log.warning("%s", problem)
        ride = None
    if kept is None or ride is None:
        log.warning("the battery's count is taken from the last trip's records")
        ride = Ride(profile, system_id, load_carried(earlier[0].folder))
        _fold(ride, earlier)
        return {**ride.kept(), "curves": None}
    at = kept.get("at")
    if not (isinstance(at, dict) and isinstance(at.get("session"), str)):
        return kept
    known = earlier[0].folder.parent / at["session"]
    note = read_session(known)
    if note is None:
        return kept
    if all(_number(one) > note.number for one in earlier):
        # Nothing was written down in this trip: what it began with goes up to its beginning.
        ride = Ride(profile, system_id, load_carried(earlier[0].folder))
        _fold(ride, earlier)
        ride.finish()
        return ride.kept()
    later = [one for one in earlier if _number(one) > note.number]
    parts: list[Frames] = []
    marks: Sequence[Said] = ()
    for one in earlier:
        if one.folder == known:
            marks = one.said[int(at.get("marks", 0)) :]
            # Without a record nothing was heard then.
            with contextlib.suppress(LogError):
                parts = [_frames_after(known, int(at["stamp_us"]))]
    if not (later or marks or any(map(len, parts))):
        return kept
    replay(ride, parts, marks)
    _fold(ride, later)
    ride.finish()
    return ride.kept()


def _number(session: Session) -> int:
    note = read_session(session.folder)
    return 0 if note is None else note.number


def _fold(ride: Ride, sessions: Iterable[Session]) -> None:
    for session in sessions:
        replay(ride, recorded(session), session.said)


def _frames_after(folder: Path, stamp_us: int) -> Frames:
    """Read the frames behind a stamp [us], from the record's end backwards."""
    files = find_log(folder)
    size, tail = log_bytes(files), TAIL_BYTES
    with opened(files) as record:
        while True:
            frames = LogScanner(in_step=False).push(record.tail(tail), final=True)
            found = len(frames) and int(frames.stamp_us[0]) <= stamp_us
            if found or tail >= min(size, TAIL_MOST_BYTES):
                return frames.where(frames.stamp_us > stamp_us)
            tail *= 4
