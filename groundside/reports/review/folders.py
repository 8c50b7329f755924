"""The logs that a person means by naming folders: a session, or all that a folder holds."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from onboard.errors import UsageError
from onboard.telemetry.logs.log_files import reading, record_files

OTHER_FILES = frozenset(
    [".csv", ".gpx", ".html", ".jpg", ".json", ".md", ".pdf", ".png", ".svg", ".toml", ".txt"]
)
"""Endings of what people keep beside their logs: passed over, not reported as no log."""


def logs_in(paths: Sequence[Path]) -> list[Path]:
    """Return the paths with each folder that is no session replaced by the logs in it, by name.

    A file that turns out to be no log costs its own line later.

    Raises
    ------
    UsageError
        If a folder holds nothing that may be a log.
    LogError
        If a folder cannot be listed.
    """
    found: list[Path] = []
    for path in paths:
        inside = list(_inside(path)) if path.is_dir() and not _is_session(path) else [path]
        if not inside:
            raise UsageError(f"{path}: no log and no session in this folder")
        found += inside
    return found


def _inside(folder: Path) -> Iterator[Path]:
    with reading(folder):
        places = sorted(folder.iterdir())
    for path in places:
        if path.name.startswith("."):
            continue
        if path.is_dir():
            if _is_session(path):
                yield path
        elif path.is_file() and path.suffix.lower() not in OTHER_FILES:
            yield path


def _is_session(folder: Path) -> bool:
    with reading(folder):
        return bool(record_files(folder))
