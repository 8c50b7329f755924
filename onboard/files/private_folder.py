"""Folders that nobody but the owner looks into."""

from pathlib import Path
from typing import Final

FOLDER_MODE: Final = 0o700
"""A track tells where somebody was: nobody but the owner reads it."""


def make_own_folder(folder: Path) -> None:
    """Make a folder where there is none, and what is missing above it, for the owner alone.

    `Path.mkdir` gives a mode to the last one only. Where the umask is wide, others could then put
    a folder of theirs in its place. The mode is the one that the XDG Base Directory Specification
    asks for folders that are missing.

    Parameters
    ----------
    folder
        What is to be there; what is there already stays as it is.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    missing = []
    above = folder
    while not above.exists() and above != above.parent:
        missing.append(above)
        above = above.parent
    for one in reversed(missing):
        one.mkdir(mode=FOLDER_MODE, exist_ok=True)
    folder.mkdir(mode=FOLDER_MODE, exist_ok=True)
