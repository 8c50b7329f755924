"""Lock files: one process at a time; the kernel releases the lock when the process ends."""

import fcntl
import os
import time
from pathlib import Path
from typing import Final

from onboard.files.whole_file import FILE_MODE

RETRY_EVERY_S: Final = 0.02


def open_lock_file(path: Path) -> int:
    """Open a lock file, creating it if needed; return its descriptor, not yet locked.

    Raises
    ------
    OSError
        If it cannot be opened, or is a symbolic link.
    """
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, FILE_MODE)


def lock_file(descriptor: int, within_s: float) -> None:
    """Lock an open file until its descriptor is closed.

    Parameters
    ----------
    descriptor
        From `open_lock_file`.
    within_s
        How long to wait for another process to release it [s].

    Raises
    ------
    BlockingIOError
        If another process still has it.
    OSError
        If the file system has no locks.
    """
    until_s = time.monotonic() + within_s
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > until_s:
                raise
            time.sleep(RETRY_EVERY_S)
        else:
            return
