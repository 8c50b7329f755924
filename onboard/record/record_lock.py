"""One daemon at a time keeps its records in a folder: a lock that ends with the process."""

import contextlib
import fcntl
import os
import time
from pathlib import Path

from onboard.errors import UsageError
from onboard.files.private_folder import make_own_folder
from onboard.files.whole_file import FILE_MODE

FILE_NAME = "daemon.lock"

WAIT_S = 1.0
"""A daemon that was just stopped or killed may take a moment to let go."""

_FLAGS = os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW


class RecordLock:
    """Holds the folder of all sessions until the block or the process ends, however it ends.

    Where the file system has no locks, or no room for the file, the daemon runs without: the record
    matters more.

    Parameters
    ----------
    directory
        The folder of all sessions, made if it is not there; None where no record is kept.

    Raises
    ------
    UsageError
        On entry, if another daemon has it.
    """

    def __init__(self, directory: Path | None) -> None:
        self._directory = directory
        self._descriptor: int | None = None

    def __enter__(self) -> None:
        """Take the lock."""
        if self._directory is None:
            return
        try:
            make_own_folder(self._directory)
            self._descriptor = os.open(self._directory / FILE_NAME, _FLAGS, FILE_MODE)
        except OSError:
            # The recorder will say what keeps it from writing there.
            return
        if not _lock(self._descriptor):
            process = _process(self._descriptor)
            self._let_go()
            raise UsageError(
                f"{self._directory}: another daemon{process} keeps its records here: stop it, "
                "choose another folder with --record, or use --no-record"
            )
        with contextlib.suppress(OSError):
            os.ftruncate(self._descriptor, 0)
            os.pwrite(self._descriptor, f"{os.getpid()}\n".encode(), 0)

    def __exit__(self, *_: object) -> None:
        """Release the lock."""
        self._let_go()

    def _let_go(self) -> None:
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def _lock(descriptor: int) -> bool:
    """Take the lock, and tell whether nobody else has it."""
    until_s = time.monotonic() + WAIT_S
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > until_s:
                return False
            time.sleep(0.05)
        except OSError:
            return True
        else:
            return True


def _process(descriptor: int) -> str:
    """Name the process that has it, where the file says."""
    with contextlib.suppress(OSError):
        text = os.pread(descriptor, 20, 0).decode("ascii", "replace").strip()
        if text.isdecimal():
            return f" (process {text})"
    return ""
