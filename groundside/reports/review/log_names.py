"""Names and dates of logs in reports."""

import datetime
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from groundside.studies.review_result import Review
from onboard.contract.codec import clean
from onboard.contract.figure import Unknown


def path_text(path: Path) -> str:
    """Return a path as valid text, whatever bytes it consists of."""
    return str(path).encode("utf-8", "replace").decode()


def names_of(paths: Sequence[Path]) -> list[str]:
    """Return a short name for each log: its file name, with the folder or in full if ambiguous.

    Examples
    --------
    >>> names_of([Path("may/ride.tlog"), Path("june/ride.tlog"), Path("x/y.tlog")])
    ['may/ride.tlog', 'june/ride.tlog', 'y.tlog']
    """
    names = [path.name or str(path) for path in paths]
    for longer in (_with_folder, str):
        twice = {name for name, count in Counter(names).items() if count > 1}
        pairs = zip(names, paths, strict=True)
        names = [longer(path) if name in twice else name for name, path in pairs]
    return [clean(name) or "?" for name in names]


def _with_folder(path: Path) -> str:
    return "/".join(path.parts[-2:])


def date_text(review: Review) -> str:
    """Return the start of a log to the minute, as `2025-06-14 09:30 UTC`; empty if unknown."""
    start = start_of(review)
    return "" if start is None else f"{start:%Y-%m-%d %H:%M} UTC"


def start_of(review: Review) -> datetime.datetime | None:
    """Return the start of a log; None if unknown."""
    stated = review.log.start_utc
    return None if isinstance(stated, Unknown) else datetime.datetime.fromisoformat(stated)
