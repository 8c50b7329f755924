"""Small files, written whole or not at all, so that they outlive a kill and a power cut."""

import contextlib
import fcntl
import os
import stat
from pathlib import Path

FILE_MODE = 0o600
"""What lies beside a track tells of it: nobody but the owner reads it."""

_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a small file, all of it or nothing, so that a power cut leaves the old or the new.

    Several may write the same file at once: one after the other, the last one's stays.

    Raises
    ------
    OSError
        If it cannot be written; what was there before stays.
    """
    new = path.with_name(path.name + ".new")
    descriptor = _opened_alone(new)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(descriptor)
            new.replace(path)
    except OSError:
        # What is left of it holds room that a full card needs.
        with contextlib.suppress(OSError):
            new.unlink()
        raise
    sync_folder(path.parent)


def _opened_alone(new: Path) -> int:
    """Open the file to be written, empty, ours, and nobody else's meanwhile.

    A name that leads elsewhere, a pipe that keeps us waiting, or a file that somebody else put
    there to read along, is not used.
    """
    while True:
        with contextlib.suppress(FileNotFoundError):
            there = new.lstat()
            if not stat.S_ISREG(there.st_mode) or there.st_uid != os.geteuid():
                new.unlink()
        descriptor = os.open(new, _FLAGS, FILE_MODE)
        try:
            with contextlib.suppress(OSError):  # a file system without locks
                fcntl.flock(descriptor, fcntl.LOCK_EX)
            # Who wrote before us has renamed it, or taken it away: then it is not ours to fill.
            if _is_at(new, os.fstat(descriptor)):
                with contextlib.suppress(OSError):  # or without modes
                    os.fchmod(descriptor, FILE_MODE)
                os.ftruncate(descriptor, 0)
                return descriptor
        except BaseException:
            os.close(descriptor)
            raise
        os.close(descriptor)


def _is_at(path: Path, file: os.stat_result) -> bool:
    try:
        there = path.lstat()
    except FileNotFoundError:
        return False
    return os.path.samestat(there, file)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder outlast a power cut; some file systems cannot, and need not."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
