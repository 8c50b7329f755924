"""Atomic writes of small files: a kill or a power cut leaves the old or the new content."""

import contextlib
import fcntl
import os
import stat
from pathlib import Path

FILE_MODE = 0o600
"""Files beside a track reveal it, too: only the owner may read them."""

_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a small file atomically: write and sync a new file, then rename it into place.

    Concurrent writers of one file take turns; the last one wins.

    Raises
    ------
    OSError
        If it cannot be written; the old content stays.
    """
    new = path.with_name(path.name + ".new")
    descriptor = _open_exclusive(new)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(descriptor)
            new.replace(path)
    except OSError:
        # A half-written file takes up room that a full card needs.
        with contextlib.suppress(OSError):
            new.unlink()
        raise
    sync_folder(path.parent)


def _open_exclusive(new: Path) -> int:
    """Open the new file, empty and locked against other writers.

    A symbolic link, a pipe that would block, or a file planted by another user to read along is
    removed first.
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
            # The previous writer may have renamed or removed it meanwhile: reopen it.
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
        return os.path.samestat(path.lstat(), file)
    except FileNotFoundError:
        return False


def sync_folder(folder: Path) -> None:
    """Sync a folder's names to the card; file systems that cannot do this are left alone."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
