"""Lock on the pairing's files, shared by the daemon, `pair` and `serve`."""

import contextlib
import fcntl
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from onboard.errors import UsageError
from onboard.files.whole_file import FILE_MODE

LOCK_NAME: Final = "lock"
LOCK_S: Final = 2.0
"""Longest wait for the lock."""


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the lock on the pairing's files.

    Parameters
    ----------
    folder
        The pairing's folder, which must exist.

    Raises
    ------
    UsageError
        If the lock is not free within two seconds.
    """
    path = folder / LOCK_NAME
    flags = os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW
    try:
        descriptor = os.open(path, flags, FILE_MODE)
    except OSError as problem:
        cause = (problem.strerror or str(problem)).lower()
        raise UsageError(f"{path}: cannot be had: {cause}") from None
    try:
        _lock(descriptor, path)
        yield
    finally:
        os.close(descriptor)


def _lock(descriptor: int, path: Path) -> None:
    until_s = time.monotonic() + LOCK_S
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except OSError:
            if time.monotonic() > until_s:
                raise UsageError(f"{path}: somebody else holds it: try again") from None
            time.sleep(0.02)
