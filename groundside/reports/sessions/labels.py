"""Labels of rides: a small file beside each record, independent of the season's cache."""

import json
import logging
from pathlib import Path

from onboard.contract.codec import clean
from onboard.contract.commands import TEXT_MOST
from onboard.errors import UsageError
from onboard.files.whole_file import sync_folder, write_whole

FILE_NAME = "labels.json"
SCHEMA = 1
MOST_BYTES = 4096

log = logging.getLogger("wattwake")


def label_path(ride: Path) -> Path:
    """Return the path of a ride's label: in a session's folder, or beside a log.

    Examples
    --------
    >>> label_path(Path("/nowhere/ride.tlog")).name
    'ride.tlog.labels.json'
    """
    return ride / FILE_NAME if ride.is_dir() else ride.with_name(f"{ride.name}.{FILE_NAME}")


def read_label(ride: Path) -> str:
    """Return a ride's label, empty if it has none; log a warning if the file is unusable."""
    path = label_path(ride)
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
        stated = json.loads(raw.decode("utf-8"))
    except FileNotFoundError:
        return ""
    except (OSError, ValueError, RecursionError):
        stated = None
    label = stated.get("label") if isinstance(stated, dict) else None
    if not isinstance(label, str) or stated.get("schema") != SCHEMA:
        log.warning("%s: no label can be read from it: the ride is listed without", path)
        return ""
    # The file is not trusted, and the label goes to a terminal.
    return clean(label)[:TEXT_MOST]


def write_label(ride: Path, label: str) -> None:
    """Write a ride's label atomically; remove it if empty.

    Raises
    ------
    UsageError
        If it is too long or not printable, or cannot be written.
    """
    label = label.strip()
    if not label.isprintable() or len(label) > TEXT_MOST:
        raise UsageError(f"--set-label: expected at most {TEXT_MOST} printable characters")
    path = label_path(ride)
    try:
        if label:
            text = json.dumps({"schema": SCHEMA, "label": label}, ensure_ascii=False)
            write_whole(path, text + "\n")
        else:
            path.unlink(missing_ok=True)
            sync_folder(path.parent)
    except OSError as problem:
        raise UsageError(f"{path}: cannot be written ({problem.strerror})") from None
