"""Lock on the pairing's files, shared by the daemon, `pair` and `serve`."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from onboard.errors import UsageError, cause_of
from onboard.files.file_lock import lock_file, open_lock_file

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
    try:
        descriptor = open_lock_file(path)
    except OSError as problem:
        raise UsageError(f"{path}: cannot be had: {cause_of(problem)}") from None
    try:
        try:
            lock_file(descriptor, LOCK_S)
        except OSError:
            raise UsageError(f"{path}: somebody else holds it: try again") from None
        yield
    finally:
        os.close(descriptor)
