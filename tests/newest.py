"""The newest session of a folder, by its number alone, without the pointer the daemon uses."""

from pathlib import Path

from onboard.record.sessions import sessions


def latest_session(directory: Path) -> Path | None:
    return next(iter(sessions(directory)), None)
