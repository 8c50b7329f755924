"""The bundled ride: beside the code if installed, in replay_logs/ in a source tree."""

from pathlib import Path

from onboard.errors import LogError

PACKAGE = Path(__file__).resolve().parent


def bundled_file(name: str) -> Path:
    """Return the path of a bundled file.

    Raises
    ------
    LogError
        If it is missing from the installation.
    """
    for folder in (PACKAGE, PACKAGE.parents[1] / "replay_logs"):
        if (folder / name).is_file():
            return folder / name
    raise LogError(f"{name}: not in this installation: install wattwake again")
