"""One daemon at a time records into a folder of sessions: a file lock on `daemon.lock`."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from onboard.errors import UsageError
from onboard.files.file_lock import lock_file, open_lock_file
from onboard.files.private_folder import make_own_folder

FILE_NAME = "daemon.lock"

WAIT_S = 1.0
"""Longest wait for a daemon that was just stopped or killed to release the lock [s]."""


@contextlib.contextmanager
def record_lock(directory: Path | None) -> Iterator[None]:
    """Lock the folder of all sessions until the block or the process ends, by whatever means.

    If the file system has no locks, or no room for the file, the daemon runs without one: the
    record matters more.

    Parameters
    ----------
    directory
        Folder of all sessions, created if missing; None where no record is kept.

    Raises
    ------
    UsageError
        If another daemon has locked it.
    """
    descriptor = None if directory is None else _lock(directory)
    try:
        yield
    finally:
        if descriptor is not None:
            os.close(descriptor)


def _lock(directory: Path) -> int | None:
    try:
        make_own_folder(directory)
        descriptor = open_lock_file(directory / FILE_NAME)
    except OSError:
        # The recorder will report why it cannot write there.
        return None
    try:
        lock_file(descriptor, WAIT_S)
    except BlockingIOError:
        process = _process(descriptor)
        os.close(descriptor)
        raise UsageError(
            f"{directory}: another daemon{process} keeps its records here: stop it, "
            "choose another folder with --record, or use --no-record"
        ) from None
    except OSError:
        pass  # no locks supported
    with contextlib.suppress(OSError):
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
    return descriptor


def _process(descriptor: int) -> str:
    """Return the process that has the lock, if the file states it."""
    with contextlib.suppress(OSError):
        text = os.pread(descriptor, 20, 0).decode("ascii", "replace").strip()
        if text.isdecimal():
            return f" (process {text})"
    return ""
