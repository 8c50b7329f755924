"""A pointer to the newest session, beside the sessions, so that a start need not read them all.

It is written before the session's folder is created: a kill between the two leaves a dangling
pointer, and then the session before it is the newest. It is valid only while the other folders are
the ones it was written with: if some were added or removed, all sessions are read again.
"""

import contextlib
import json
import zlib
from collections.abc import Collection
from dataclasses import asdict
from pathlib import Path

from onboard.dataclass import dataclass
from onboard.files.whole_file import write_whole

FILE_NAME = "newest.json"
SCHEMA = 1

NUMBERS_END = 1 << 53
"""Session numbers stay below this: other programs read them as floating point."""


@dataclass(frozen=True)
class Newest:
    """Content of the pointer.

    Parameters
    ----------
    number
        Number of the newest session.
    name
        Its folder's name.
    before
        Folder name of the session that ran before it, if any.
    anew
        Whether it began a new trip.
    others
        `names_sum` of the other folders.
    """

    number: int
    name: str
    before: str | None
    anew: bool
    others: str


def names_sum(names: Collection[str]) -> str:
    """Return a checksum of a set of names, independent of their order.

    Examples
    --------
    >>> names_sum({"a", "b"}) == names_sum(["b", "a"])
    True
    >>> names_sum({"a", "b"}) == names_sum({"a", "c"})
    False
    """
    return f"{len(names)}-{sum(zlib.crc32(name.encode()) for name in names):x}"


def read_newest(directory: Path) -> Newest | None:
    """Read the pointer; None if it is missing or damaged."""
    try:
        stated = json.loads((directory / FILE_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(stated, dict) or stated.pop("schema", None) != SCHEMA:
        return None
    wanted = {"number": int, "name": str, "before": str | None, "anew": bool, "others": str}
    if stated.keys() != wanted.keys():
        return None
    if not all(isinstance(stated[key], kind) for key, kind in wanted.items()):
        return None
    return Newest(**stated) if 0 < stated["number"] < NUMBERS_END else None


def write_newest(directory: Path, newest: Newest) -> None:
    """Write the pointer; if it cannot be written, the next start reads all sessions."""
    text = json.dumps({"schema": SCHEMA, **asdict(newest)}) + "\n"
    with contextlib.suppress(OSError):
        write_whole(directory / FILE_NAME, text)
