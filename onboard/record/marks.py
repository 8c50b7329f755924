"""The marks of a session: each accepted command with its time, beside the record, a line each.

A review and a daemon that comes back do them again at their time. A disk that is full costs marks,
never the ride.
"""

import json
import logging
import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.commands import Command, Refused, command_from, shown
from onboard.ride.commands import obey
from onboard.ride.ride import Ride

FILE_NAME = "marks.jsonl"

LATEST_S = 1e11
"""No time of ours: the year 5138."""

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class Noted:
    """A command that was accepted, and when.

    Parameters
    ----------
    t_s
        Stream time [s], None where nothing had been heard yet.
    stamp_us
        By the clock that the record's frames are stamped with [us]: it comes behind the frames
        that are stamped no later.
    utc
        By the autopilot's clock, None while that was not set.
    command
        What was said; with the position where it was said "here".
    """

    t_s: float | None
    stamp_us: int
    utc: str | None
    command: Command

    def apply(self, ride: Ride) -> None:
        """Do it to a ride. A new trip is another session: it is not done here."""
        why_not = obey(self.command, ride, lambda: None)
        if why_not is not None:
            log.warning("%s of %s is not done again: %s", FILE_NAME, self.utc or self.t_s, why_not)

    def as_dict(self) -> dict[str, Any]:
        """Return the line in JSON's own types."""
        when = {"t_s": self.t_s, "stamp_us": self.stamp_us, "utc": self.utc}
        return when | self.command.as_dict()


def noted(command: Command, ride: Ride, stamp_us: int) -> Noted:
    """Return a command with the times of a ride at which it was done to it.

    Parameters
    ----------
    command
        What was done.
    ride
        The ride.
    stamp_us
        Stamp of the last frame that the ride has taken in [us]; of now where there is none.
    """
    heard = ride.engine.latest.first_s is not None
    return Noted(ride.t_s if heard else None, stamp_us, ride.utc, command)


def in_record(marks: Iterable[Noted], zero_stamp_s: float | None) -> tuple[Noted, ...]:
    """Return marks by the stream time of their own record, read by itself.

    A trip that went on after a restart counts its time from its first session on; the stamps are
    the record's own.

    Parameters
    ----------
    marks
        Of the session.
    zero_stamp_s
        The record's stamp where its stream time is zero [s]; None where nothing was heard.
    """
    if zero_stamp_s is None:
        return tuple(marks)
    return tuple(
        one if one.t_s is None else replace(one, t_s=one.stamp_us * 1e-6 - zero_stamp_s)
        for one in marks
    )


class MarkBook:
    """Writes the marks of one session.

    Parameters
    ----------
    folder
        The session's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE_NAME
        self._unsynced = False
        self.problem: Alert | None = None
        """What keeps marks from being written; None while all is well."""

    def write(self, one: Noted) -> None:
        """Append a mark: a whole line, or nothing, which `problem` then says."""
        line = json.dumps(one.as_dict(), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        try:
            _append(self._path, line.encode() + b"\n")
        except OSError as problem:
            self.problem = Alert(AlertCode.MARKS_STOPPED, errno=problem.errno)
            log.error("marks are not being saved: %s", problem.strerror)
        else:
            self.problem, self._unsynced = None, True

    def sync(self) -> None:
        """Have the card keep what was written, so that a power cut takes none of it.

        It may take as long as the card does: not for the thread that the figures come from.
        """
        if not self._unsynced:
            return
        self._unsynced = False
        try:
            with self._path.open("rb+") as file:
                os.fdatasync(file.fileno())
        except OSError as problem:
            log.warning("%s: not synced: %s", self._path, problem.strerror)


def _append(path: Path, line: bytes) -> None:
    # Opened anew for each: marks are few, and a folder that came back is found again.
    place = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        size = os.fstat(place).st_size
        if size and os.pread(place, 1, size - 1) != b"\n":
            # The line before was cut by a power failure; it must not take this one with it.
            line = b"\n" + line
        try:
            written = 0
            while written < len(line):
                written += os.pwrite(place, line[written:], size + written)
        except OSError:
            os.ftruncate(place, size)
            raise
    finally:
        os.close(place)


def read_marks(folder: Path) -> tuple[Noted, ...]:
    """Read a session's marks in the order in which they were said; none where there is no file.

    A last line that was cut is no mark. Any other that is none is passed over, and said.
    """
    path = folder / FILE_NAME
    try:
        lines = path.read_bytes().split(b"\n")
    except FileNotFoundError:
        return ()
    except OSError as problem:
        log.warning("%s: cannot be read (%s): marks are missing", path, problem.strerror)
        return ()
    found: list[Noted] = []
    for number, line in enumerate(lines, 1):
        try:
            found.append(_read(line))
        except (ValueError, RecursionError) as problem:
            if number < len(lines):
                log.warning("%s: line %d is passed over: %s", path, number, problem)
    return tuple(found)


def _read(line: bytes) -> Noted:
    raw = json.loads(line.decode("utf-8"))
    if not isinstance(raw, dict) or not {"t_s", "stamp_us", "utc"} <= raw.keys():
        raise ValueError("expected an object with t_s, stamp_us and utc")
    t_s, stamp_us, utc = (raw.pop(key) for key in ("t_s", "stamp_us", "utc"))
    command = command_from(raw)
    if isinstance(command, Refused):
        raise ValueError(str(command.why))
    if not (t_s is None or (type(t_s) in (int, float) and abs(t_s) < LATEST_S)):
        raise ValueError(f"t_s = {shown(t_s)}: expected seconds or null")
    if not (type(stamp_us) is int and 0 <= stamp_us < LATEST_S * 1e6):
        raise ValueError(f"stamp_us = {shown(stamp_us)}: expected microseconds")
    if not (utc is None or (isinstance(utc, str) and len(utc) <= 40 and utc.isprintable())):
        raise ValueError(f"utc = {shown(utc)}: expected a time or null")
    return Noted(None if t_s is None else float(t_s), stamp_us, utc, command)
