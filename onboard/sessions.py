"""The folders of all sessions: which there are, in which order, and how each began and ended.

A folder is named by its start. A board without a battery for its clock may start in any year, so
the order is a number in the folder's `session.json`; the name only breaks ties.
"""

import contextlib
import datetime
import json
import logging
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from onboard.own_folder import FOLDER_MODE, make_own_folder
from onboard.whole_file import sync_folder, write_whole

FILE_NAME = "session.json"
SCHEMA = 1

NAME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}-\d{2}-\d{2}Z(-\d+)?")

CUT_OFF = "ended without being closed"

log = logging.getLogger("wattwake")
_said: set[Path] = set()


@dataclass(frozen=True)
class SessionNote:
    """What a session's folder says of it.

    Parameters
    ----------
    number
        Its place among the sessions of its directory; later ones have greater numbers.
    continues
        The folder's name of the session whose trip it goes on with, if any.
    closed
        Whether it ended, in whichever way.
    note
        What else is to be known of its end.
    """

    number: int
    continues: str | None = None
    closed: bool = False
    note: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Give it in JSON's own types."""
        stated: dict[str, Any] = {
            "schema": SCHEMA,
            "number": self.number,
            "continues": self.continues,
            "closed": self.closed,
        }
        return stated if self.note is None else stated | {"note": self.note}


def session_name(start_us: int) -> str:
    """Give the name of a session's folder.

    Examples
    --------
    >>> session_name(1_750_000_000_000_000)
    '2025-06-15T15-06-40Z'
    """
    moment = datetime.datetime.fromtimestamp(start_us * 1e-6, datetime.UTC)
    return f"{moment:%Y-%m-%dT%H-%M-%SZ}"


def sessions(directory: Path) -> list[Path]:
    """Give the folders of all sessions, newest first.

    Parameters
    ----------
    directory
        The folder of all sessions.

    Notes
    -----
    Those of before there were numbers come first. One whose number is damaged stands right behind
    the last numbered one before its name.
    """
    try:
        with os.scandir(directory) as entries:
            folders = [
                directory / entry.name
                for entry in entries
                if NAME.fullmatch(entry.name) and entry.is_dir()
            ]
    except FileNotFoundError:
        return []
    except OSError as problem:
        _say_once(directory, f"the sessions cannot be listed ({problem.strerror})")
        return []
    notes = {folder: read_session(folder) for folder in folders}
    numbered = sorted((_by_start(folder), note.number) for folder, note in notes.items() if note)

    def place(folder: Path) -> tuple[float, tuple[str, int]]:
        note, start = notes[folder], _by_start(folder)
        if note is not None:
            return float(note.number), start
        if not (folder / FILE_NAME).exists():
            return 0.0, start
        before = [number for other, number in numbered if other < start]
        return max(before, default=0) + 0.5, start

    return sorted(folders, key=place, reverse=True)


def latest_session(directory: Path) -> Path | None:
    """Give the folder of the newest session, None where there is none."""
    return next(iter(sessions(directory)), None)


def read_session(folder: Path) -> SessionNote | None:
    """Read what a session's folder says of it; None where it says nothing that can be used.

    What is there but cannot be read is said once; older sessions have no such file.
    """
    path = folder / FILE_NAME
    try:
        stated = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError) as problem:
        _say_once(path, f"not readable ({problem}): its name tells when it was")
        return None
    note = _checked(stated)
    if note is None:
        _say_once(path, "not of this version, or damaged: its name tells when it was")
    return note


def _checked(stated: Any) -> SessionNote | None:
    if not isinstance(stated, dict) or stated.get("schema") != SCHEMA:
        return None
    number, closed = stated.get("number"), stated.get("closed")
    continues, note = stated.get("continues"), stated.get("note")
    if type(number) is not int or not 0 < number < 1 << 53 or not isinstance(closed, bool):
        return None
    if not (continues is None or (isinstance(continues, str) and NAME.fullmatch(continues))):
        return None
    return SessionNote(number, continues, closed, note if isinstance(note, str) else None)


def begin_session(directory: Path, start_us: int, continues: str | None = None) -> Path:
    """Make the folder of a new session, and mark earlier ones that nobody closed.

    Parameters
    ----------
    directory
        The folder of all sessions; made if it is not there.
    start_us
        Wall clock at the start [us since the Unix epoch].
    continues
        The folder's name of the session whose trip goes on, if it is known by now.

    Raises
    ------
    OSError
        If it cannot be made: then nothing of it is left.
    """
    make_own_folder(directory)
    earlier = sessions(directory)
    notes = [note for folder in earlier if (note := read_session(folder)) is not None]
    number = max([len(earlier), *(note.number for note in notes)]) + 1
    folder = _new_folder(directory, session_name(start_us))
    try:
        write_session(folder, SessionNote(number, continues))
    except OSError:
        with contextlib.suppress(OSError):
            folder.rmdir()
        raise
    sync_folder(directory)
    for other in earlier:
        note = read_session(other)
        if note is not None and not note.closed:
            _close(other, CUT_OFF)
    return folder


def close_session(folder: Path) -> None:
    """Mark a session as ended. That it cannot be written is said, and hinders nothing."""
    _close(folder, None)


def note_continues(folder: Path, continues: str | None) -> None:
    """Write down which session's trip this one goes on with, once that is known.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    known = read_session(folder)
    if known is not None and known.continues != continues:
        write_session(folder, SessionNote(known.number, continues, known.closed, known.note))


def write_session(folder: Path, note: SessionNote) -> None:
    """Write what a session's folder says of it, all of it or nothing.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    write_whole(folder / FILE_NAME, json.dumps(note.as_dict(), allow_nan=False) + "\n")


def _close(folder: Path, note: str | None) -> None:
    known = read_session(folder)
    if known is None or (known.closed and known.note == note):
        return
    try:
        write_session(folder, SessionNote(known.number, known.continues, True, note))
    except OSError as problem:
        _say_once(folder, f"could not be marked as ended ({problem.strerror})")


def _new_folder(directory: Path, name: str) -> Path:
    """Make a folder of this name; a second one in that second gets a number."""
    number = 1
    while True:
        folder = directory / (name if number == 1 else f"{name}-{number}")
        try:
            folder.mkdir(mode=FOLDER_MODE)
        except FileExistsError:
            number += 1
        else:
            return folder


def _by_start(folder: Path) -> tuple[str, int]:
    """Give what sorts names by start: the tenth of a second comes behind the ninth."""
    start, _, count = folder.name.partition("Z")
    return start, int(count[1:] or 1)


def _say_once(path: Path, text: str) -> None:
    if path not in _said:
        _said.add(path)
        log.warning("%s: %s", path, text)
