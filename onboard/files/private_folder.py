"""Folders that only their owner can enter."""

from itertools import takewhile
from pathlib import Path
from typing import Final

FOLDER_MODE: Final = 0o700
"""A track reveals a person's whereabouts: only the owner may read it."""


def make_own_folder(folder: Path) -> None:
    """Create a folder and its missing parents, all with mode 0700.

    `Path.mkdir` applies a mode to the last folder only; under a permissive umask, other users could
    then put their own folder in its place. The XDG Base Directory Specification requires this mode
    for missing folders.

    Parameters
    ----------
    folder
        Folder to create; existing folders keep their mode.

    Raises
    ------
    OSError
        If it cannot be created.
    """
    missing = list(takewhile(lambda path: not path.exists(), (folder, *folder.parents)))
    for path in reversed(missing):
        path.mkdir(mode=FOLDER_MODE, exist_ok=True)
    folder.mkdir(mode=FOLDER_MODE, exist_ok=True)
