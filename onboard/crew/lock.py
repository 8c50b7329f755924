"""One at a time at the pairing's files: the daemon, `pair` and `serve` share a lock."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from onboard.errors import UsageError
from onboard.files.file_lock import lock_file, open_lock_file

LOCK_NAME: Final = "lock"
LOCK_S: Final = 2.0


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Have the pairing's files to oneself.

    Parameters
    ----------
    folder
        The pairing's folder, made before.

    Raises
    ------
    UsageError
        If that cannot be had within two seconds.
    """
    path = folder / LOCK_NAME
    try:
        descriptor = open_lock_file(path)
    except OSError as problem:
        cause = (problem.strerror or str(problem)).lower()
        raise UsageError(f"{path}: cannot be had: {cause}") from None
    try:
        try:
            lock_file(descriptor, LOCK_S)
        except OSError:
            raise UsageError(f"{path}: somebody else holds it: try again") from None
        yield
    finally:
        os.close(descriptor)
