"""Small files, written whole or not at all, so that they outlive a kill and a power cut."""

import contextlib
import os
from pathlib import Path

FILE_MODE = 0o600
"""What lies beside a track tells of it: nobody but the owner reads it."""


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a small file, all of it or nothing, so that a power cut leaves the old or the new.

    Raises
    ------
    OSError
        If it cannot be written; what was there before stays.
    """
    new = path.with_name(path.name + ".new")
    try:
        descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, FILE_MODE)
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


def sync_folder(folder: Path) -> None:
    """Have the names in a folder outlast a power cut; some file systems cannot, and need not."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
