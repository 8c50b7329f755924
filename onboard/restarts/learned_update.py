"""Update the content of `learned.json` to the end of the last record.

It is saved twice a minute, and a power cut falls in between: charge drawn and commands given since
must count. Only the record since is folded, so that a start costs the same after a minute's ride
and a day's.
"""

import contextlib
import logging
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from onboard.efficiency.battery.learned_pack import without_learned
from onboard.errors import LogError
from onboard.profile import Profile
from onboard.record.sessions import read_session
from onboard.restarts.refold import Session, TimedAction, load_carried, recorded, replay
from onboard.ride.ride import Ride
from onboard.telemetry.logs.log_files import find_log, log_bytes, opened
from onboard.telemetry.mavlink.frames import Frames
from onboard.telemetry.mavlink.log_scanner import LogScanner

TAIL_BYTES, TAIL_MOST_BYTES = 1 << 18, 1 << 24
"""Bytes read from a record's end, at first and at most. Charge drawn before that comes from the
autopilot's counter, or counts as unmeasured."""

log = logging.getLogger("wattwake")


def update_learned(
    profile: Profile,
    system_id: int | None,
    saved: dict[str, Any] | None,
    earlier: Sequence[Session],
) -> dict[str, Any] | None:
    """Return the saved state, updated to the end of the last session.

    Parameters
    ----------
    profile, system_id
        The craft, and the MAVLink system to follow, as for `Ride`.
    saved
        State saved last, with `at`: the position in the records that it covers; None without.
    earlier
        Sessions of the last trip, oldest first.
    """
    if profile.battery is None or not earlier:
        return saved
    try:
        return _updated(profile, system_id, saved, earlier)
    except Exception:
        # Whatever fails here, the new ride is recorded.
        log.exception("charge drawn at the end of the last ride is not counted")
        return saved


def _updated(
    profile: Profile,
    system_id: int | None,
    saved: dict[str, Any] | None,
    earlier: Sequence[Session],
) -> dict[str, Any] | None:
    try:
        ride = None if saved is None else Ride(profile, system_id, saved)
    except ValueError as problem:
        log.warning("%s", problem)
        ride = None
    if saved is None or ride is None:
        log.warning("the battery's count is taken from the last trip's records")
        ride = Ride(profile, system_id, load_carried(earlier[0].folder))
        _fold(ride, earlier)
        return without_learned({**ride.saved_state(), "curves": None})
    at = saved.get("at")
    if not (isinstance(at, dict) and isinstance(at.get("session"), str)):
        return saved
    saved_in = earlier[0].folder.parent / at["session"]
    note = read_session(saved_in)
    if note is None:
        return saved
    later = [one for one in earlier if _number(one) > note.number]
    if len(later) == len(earlier):
        # Nothing was saved in this trip: its initial state covers everything before it.
        ride = Ride(profile, system_id, load_carried(earlier[0].folder))
    else:
        parts: list[Frames] = []
        commands: Sequence[TimedAction] = ()
        for one in earlier:
            if one.folder == saved_in:
                commands = one.actions[int(at.get("marks", 0)) :]
                # Without a record, no frames were received.
                with contextlib.suppress(LogError):
                    parts = [_frames_after(saved_in, int(at["stamp_us"]))]
        if not (later or commands or any(map(len, parts))):
            return saved
        replay(ride, parts, commands)
    _fold(ride, later)
    ride.finish()
    return ride.saved_state()


def _number(session: Session) -> int:
    note = read_session(session.folder)
    return 0 if note is None else note.number


def _fold(ride: Ride, sessions: Iterable[Session]) -> None:
    for session in sessions:
        replay(ride, recorded(session), session.actions)


def _frames_after(folder: Path, stamp_us: int) -> Frames:
    """Return the frames after a stamp [us], read backwards from the record's end."""
    files = find_log(folder)
    size, tail = log_bytes(files), TAIL_BYTES
    with opened(files) as record:
        while True:
            frames = LogScanner(in_step=False).push(record.tail(tail), final=True)
            found = len(frames) and int(frames.stamp_us[0]) <= stamp_us
            if found or tail >= min(size, TAIL_MOST_BYTES):
                return frames.where(frames.stamp_us > stamp_us)
            tail *= 4
