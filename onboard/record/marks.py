"""The marks of a session: each accepted command with its time, one JSON line each in `marks.jsonl`.

A review, and a daemon after a restart, replay them at their time. A full disk costs marks, never
the ride.
"""

import json
import logging
import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.commands import Command, Refused, command_from, shown
from onboard.dataclass import dataclass
from onboard.files.whole_file import FILE_MODE
from onboard.ride.commands import apply_command
from onboard.ride.ride import Ride

FILE_NAME = "marks.jsonl"

LATEST_S = 1e11
"""Times from here on are invalid: the year 5138."""

log = logging.getLogger("wattwake")


@dataclass(frozen=True)
class TimedCommand:
    """An accepted command with its time.

    Parameters
    ----------
    t_s
        Stream time [s], None before the first message.
    stamp_us
        By the clock of the record's stamps [us]: the command follows the frames stamped no later.
    utc
        By the autopilot's clock, None if that was not set.
    command
        The command; "here" is replaced by the position.
    """

    t_s: float | None
    stamp_us: int
    utc: str | None
    command: Command

    def apply(self, ride: Ride) -> None:
        """Apply it to a ride; `new_trip` does nothing here, as it begins another session."""
        refusal = apply_command(self.command, ride, lambda: None)
        if refusal is not None:
            log.warning("%s of %s is not done again: %s", FILE_NAME, self.utc or self.t_s, refusal)

    def as_dict(self) -> dict[str, Any]:
        """Return the line in JSON's own types."""
        when = {"t_s": self.t_s, "stamp_us": self.stamp_us, "utc": self.utc}
        return when | self.command.as_dict()


def timed_command(command: Command, ride: Ride, stamp_us: int) -> TimedCommand:
    """Return a command with the present times of a ride.

    Parameters
    ----------
    command
        The accepted command.
    ride
        The ride it was applied to.
    stamp_us
        Stamp of the last frame folded into the ride [us]; of now if there is none.
    """
    begun = ride.engine.latest.first_s is not None
    return TimedCommand(ride.t_s if begun else None, stamp_us, ride.utc, command)


def in_record(
    marks: Iterable[TimedCommand], zero_stamp_s: float | None
) -> tuple[TimedCommand, ...]:
    """Return marks with `t_s` as the stream time of their own record, read by itself.

    A trip that continued after a restart counts time from its first session; the stamps are the
    record's own.

    Parameters
    ----------
    marks
        Marks of the session.
    zero_stamp_s
        The record's stamp at stream time zero [s]; None if nothing was received.
    """
    if zero_stamp_s is None:
        return tuple(marks)
    return tuple(
        mark if mark.t_s is None else replace(mark, t_s=mark.stamp_us * 1e-6 - zero_stamp_s)
        for mark in marks
    )


class MarkBook:
    """Writes the marks of one session.

    Parameters
    ----------
    folder
        The session's folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder, self._path = folder, folder / FILE_NAME
        self._unsynced = False
        self.problem: Alert | None = None
        """Why marks cannot be written; None without a problem."""

    def write(self, command: TimedCommand) -> None:
        """Append a mark: a whole line, or nothing, and then `problem` is set."""
        line = json.dumps(
            command.as_dict(), ensure_ascii=False, separators=(",", ":"), allow_nan=False
        )
        try:
            _append(self._path, line.encode() + b"\n")
        except OSError as problem:
            self.problem = Alert(AlertCode.MARKS_STOPPED, errno=problem.errno)
            log.error("marks are not being saved: %s", problem.strerror)
        else:
            self.problem, self._unsynced = None, True

    def sync(self) -> None:
        """Sync the marks written, so that a power cut loses none of them.

        It blocks as long as the card does: not for the thread that computes the figures.
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
    # Opened for each: marks are few, and a folder that came back is found again.
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, FILE_MODE)
    try:
        size = os.fstat(descriptor).st_size
        if size and os.pread(descriptor, 1, size - 1) != b"\n":
            # A power cut tore the line before; it must not corrupt this one.
            line = b"\n" + line
        try:
            written = 0
            while written < len(line):
                written += os.pwrite(descriptor, line[written:], size + written)
        except OSError:
            os.ftruncate(descriptor, size)
            raise
    finally:
        os.close(descriptor)


def read_marks(folder: Path) -> tuple[TimedCommand, ...]:
    """Read a session's marks in order; none if there is no file.

    A torn last line is ignored; any other damaged line is skipped with a warning.
    """
    path = folder / FILE_NAME
    try:
        lines = path.read_bytes().split(b"\n")
    except FileNotFoundError:
        return ()
    except OSError as problem:
        log.warning("%s: cannot be read (%s): marks are missing", path, problem.strerror)
        return ()
    found: list[TimedCommand] = []
    for number, line in enumerate(lines, 1):
        try:
            found.append(_read(line))
        except (ValueError, RecursionError) as problem:
            if number < len(lines):
                log.warning("%s: line %d is passed over: %s", path, number, problem)
    return tuple(found)


def _read(line: bytes) -> TimedCommand:
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
    return TimedCommand(None if t_s is None else float(t_s), stamp_us, utc, command)
