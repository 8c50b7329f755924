"""Where the bundled ride is: beside the code when installed, in replay_logs/ in a source tree."""

from pathlib import Path

from onboard.errors import LogError

PACKAGE = Path(__file__).resolve().parent


def bundled(name: str) -> Path:
    """Return the path of a bundled file.

    Raises
    ------
    LogError
        If the installation lacks it.
    """
    for folder in (PACKAGE, PACKAGE.parents[1] / "replay_logs"):
        if (folder / name).is_file():
            return folder / name
    raise LogError(f"{name}: not in this installation: install wattwake again")
