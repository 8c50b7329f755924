"""The folders of all sessions: their order, and the beginning and end of each.

A folder is named by its start. A board without a battery for its clock may start in any year, so
the order is a number in the folder's `session.json`; the name only breaks ties.

A session begins undecided: its note names the previous session, which it may continue. Once the
autopilot's clocks have shown whether it does, that is settled; see `trip_sessions`.
"""

import contextlib
import datetime
import errno
import json
import logging
import os
import re
import shutil
import threading
from collections.abc import Callable, Mapping, Set
from dataclasses import replace
from pathlib import Path
from typing import Any

from onboard.dataclass import dataclass
from onboard.files.private_folder import FOLDER_MODE, make_own_folder
from onboard.files.whole_file import FILE_MODE, sync_folder, write_whole
from onboard.record.newest_session import (
    NUMBERS_END,
    Newest,
    names_sum,
    read_newest,
    write_newest,
)

FILE_NAME = "session.json"
SCHEMA = 1

NAME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}-\d{2}-\d{2}Z(-\d+)?")

CUT_OFF = "ended without being closed"

NEW_FOLDER = ".new-session"
"""A folder that is being filled; it is renamed once it holds the files of every session."""

log = logging.getLogger("wattwake")
_warned: set[Path] = set()
_changing = threading.Lock()
"""Guards read-modify-write of a note: several threads may change one."""


@dataclass(frozen=True)
class SessionNote:
    """Content of a session's `session.json`.

    Parameters
    ----------
    number
        Place among the sessions of its directory; later ones have greater numbers.
    continues
        Folder name of the session whose trip it continues, if any.
    closed
        Whether it ended, by whatever means. A session that is not the newest has ended, marked or
        not.
    note
        Remark on how it ended.
    may_continue
        While undecided: folder name of the session whose trip it may continue.
    """

    number: int
    continues: str | None = None
    closed: bool = False
    note: str | None = None
    may_continue: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return it in JSON's own types."""
        stated: dict[str, Any] = {
            "schema": SCHEMA,
            "number": self.number,
            "continues": self.continues,
            "closed": self.closed,
        }
        optional = {"note": self.note, "may_continue": self.may_continue}
        return stated | {key: value for key, value in optional.items() if value is not None}


def session_name(start_us: int) -> str:
    """Return the name of a session's folder.

    Examples
    --------
    >>> session_name(1_750_000_000_000_000)
    '2025-06-15T15-06-40Z'
    """
    moment = datetime.datetime.fromtimestamp(start_us * 1e-6, datetime.UTC)
    return f"{moment:%Y-%m-%dT%H-%M-%SZ}"


def sessions(directory: Path) -> list[Path]:
    """Return the folders of all sessions, newest first.

    Parameters
    ----------
    directory
        The folder of all sessions.

    Notes
    -----
    Sessions without a number come last, as the oldest. A session with a damaged note is placed
    right after the last numbered one that its name follows.
    """
    return _ordered(_notes(directory, _names(directory)))


def _notes(directory: Path, names: Set[str]) -> dict[Path, SessionNote | None]:
    return {(folder := directory / name): read_session(folder) for name in names}


def _ordered(notes: Mapping[Path, SessionNote | None]) -> list[Path]:
    numbered = sorted((_by_start(folder), note.number) for folder, note in notes.items() if note)

    def place(folder: Path) -> tuple[float, tuple[str, int]]:
        note, start = notes[folder], _by_start(folder)
        if note is not None:
            return float(note.number), start
        if not (folder / FILE_NAME).exists():
            return 0.0, start
        before = [number for other, number in numbered if other < start]
        return max(before, default=0) + 0.5, start

    return sorted(notes, key=place, reverse=True)


def _names(directory: Path) -> set[str]:
    """Return the names of all sessions' folders, without reading any."""
    try:
        with os.scandir(directory) as entries:
            return {
                entry.name for entry in entries if NAME.fullmatch(entry.name) and entry.is_dir()
            }
    except FileNotFoundError:
        return set()
    except OSError as problem:
        _warn_once(directory, f"the sessions cannot be listed ({problem.strerror})")
        return set()


def read_session(folder: Path) -> SessionNote | None:
    """Read a session's note; None if there is no usable one.

    A damaged note is logged once; older sessions have none.
    """
    path = folder / FILE_NAME
    try:
        stated = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError) as problem:
        _warn_once(path, f"not readable ({problem}): its name tells when it was")
        return None
    note = _checked(stated)
    if note is None:
        _warn_once(path, "not of this version, or damaged: its name tells when it was")
    return note


def _checked(stated: Any) -> SessionNote | None:
    if not isinstance(stated, dict) or stated.get("schema") != SCHEMA:
        return None
    number, closed, note = stated.get("number"), stated.get("closed"), stated.get("note")
    continues, may_continue = stated.get("continues"), stated.get("may_continue")
    if type(number) is not int or not 0 < number < NUMBERS_END or not isinstance(closed, bool):
        return None
    for name in (continues, may_continue):
        if not (name is None or (isinstance(name, str) and NAME.fullmatch(name))):
            return None
    return SessionNote(
        number, continues, closed, note if isinstance(note, str) else None, may_continue
    )


def last_session(directory: Path) -> tuple[int, Path | None]:
    """Return the last number assigned, and the folder of the session that ran last, if any.

    The cost does not grow with the number of sessions: the pointer beside them is enough (see
    `newest_session`). Only if that is missing or out of date are all sessions read.
    """
    return _last_session(directory, _names(directory))


def _last_session(directory: Path, names: Set[str]) -> tuple[int, Path | None]:
    newest, latest = read_newest(directory), None
    if newest is not None:
        both = (newest.name, newest.before)
        latest = next(
            (directory / name for name in both if name is not None and name in names), None
        )
        if latest is not None and latest.name == newest.name and read_session(latest) is None:
            _restore(latest, newest)
        if newest.others == names_sum(names - {newest.name}):
            return newest.number, latest
    notes = _notes(directory, names)
    number = max([len(names), *(note.number for note in notes.values() if note is not None)])
    # A session copied from elsewhere may have a greater number, but it did not run here.
    return number, latest or next(iter(_ordered(notes)), None)


def begin_session(
    directory: Path, start_us: int, *, anew: bool = False, sidecars: Mapping[str, str] | None = None
) -> Path:
    """Create the folder of a new session, and mark the previous one as cut off if still open.

    Parameters
    ----------
    directory
        Folder of all sessions, created if missing.
    start_us
        Wall clock at the start [us since the Unix epoch].
    anew
        Whether it begins a new trip, regardless of the autopilot's clocks.
    sidecars
        Names and texts of small files created together with it, if the card has room.

    Raises
    ------
    OSError
        If it cannot be created: then no trace of it is left.
    """
    make_own_folder(directory)
    names = _names(directory)
    last, before = _last_session(directory, names)
    folder = _free(directory, session_name(start_us))
    write_newest(
        directory,
        Newest(
            number=last + 1,
            name=folder.name,
            before=before.name if before is not None else None,
            anew=anew,
            others=names_sum(names),
        ),
    )
    may_continue = None if anew or before is None else before.name
    new = directory / NEW_FOLDER
    _remove(new)
    new.mkdir(mode=FOLDER_MODE)
    try:
        _fill(new, SessionNote(last + 1, may_continue=may_continue), sidecars or {})
        # Last, so that a kill leaves a session with its note, or none.
        new.rename(folder)
    except OSError:
        _remove(new)
        raise
    sync_folder(directory)
    if before is not None:
        note = read_session(before)
        if note is not None and not note.closed:
            close_session(before, CUT_OFF)
    return folder


def close_session(folder: Path, note: str | None = None) -> None:
    """Mark a session as ended, with a remark; failures are only logged."""
    try:
        _change(folder, lambda known: replace(known, closed=True, note=note))
    except OSError as problem:
        _warn_once(folder, f"could not be marked as ended ({problem.strerror})")


def note_continues(folder: Path, continues: str | None) -> None:
    """Settle which session's trip this one continues; None if it began one.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    _change(folder, lambda known: replace(known, continues=continues, may_continue=None))


def note_may_continue(folder: Path, name: str) -> None:
    """Write down which session's trip this one may continue, unless that is settled.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    _change(folder, lambda known: replace(known, may_continue=known.may_continue and name))


def write_session(folder: Path, note: SessionNote) -> None:
    """Write a session's note atomically.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    write_whole(folder / FILE_NAME, _text(note))


def _text(note: SessionNote) -> str:
    return json.dumps(note.as_dict(), allow_nan=False) + "\n"


def _change(folder: Path, change: Callable[[SessionNote], SessionNote]) -> None:
    with _changing:
        known = read_session(folder)
        if known is not None and (changed := change(known)) != known:
            write_session(folder, changed)


def _restore(folder: Path, newest: Newest) -> None:
    """Rewrite a missing or damaged note, so that the trip does not end there."""
    may_continue = None if newest.anew else newest.before
    with contextlib.suppress(OSError):
        write_session(folder, SessionNote(newest.number, None, True, CUT_OFF, may_continue))


def _free(directory: Path, name: str) -> Path:
    """Return an unused folder of this name, with a number if the name is taken."""
    number, folder = 1, directory / name
    while os.path.lexists(folder):
        number += 1
        folder = directory / f"{name}-{number}"
    return folder


def _fill(new: Path, note: SessionNote, sidecars: Mapping[str, str]) -> None:
    _put(new / FILE_NAME, _text(note))
    for name, text in sidecars.items():
        # The record matters more; the recorder retries these.
        with contextlib.suppress(OSError):
            _put(new / name, text)
    sync_folder(new)


def _put(path: Path, text: str) -> None:
    """Write a file into a folder that is not visible to readers yet."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, FILE_MODE)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(text.encode())
            file.flush()
            _sync(descriptor)
    except OSError:
        with contextlib.suppress(OSError):
            path.unlink()
        raise


def _sync(descriptor: int) -> None:
    """Sync a file; a card that reports an error here may still take the record."""
    try:
        os.fsync(descriptor)
    except OSError as problem:
        if problem.errno != errno.EIO:
            raise


def _remove(new: Path) -> None:
    """Remove the remains of a folder that was being filled at a kill."""
    with contextlib.suppress(FileNotFoundError):
        if new.is_dir() and not new.is_symlink():
            shutil.rmtree(new)
        else:
            new.unlink()


def _by_start(folder: Path) -> tuple[str, int]:
    """Return a sort key by start: the tenth session of a second follows the ninth."""
    start, _, count = folder.name.partition("Z")
    return start, int(count[1:] or 1)


def _warn_once(path: Path, text: str) -> None:
    if path not in _warned:
        _warned.add(path)
        log.warning("%s: %s", path, text)
