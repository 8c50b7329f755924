"""The order of sessions in time, and those between them that were not given."""

from collections.abc import Sequence
from pathlib import Path

from onboard.record.sessions import sessions


def in_order(given: Sequence[Path]) -> list[tuple[Path, bool]]:
    """Return sessions in order of time, each with whether it was given.

    Parameters
    ----------
    given
        Folders of sessions. If they lie in several directories, or one is no session of its
        directory, they are taken in the order given and nothing is known to lie between.
    """
    folders = {path.resolve(): path for path in given}
    directories = {folder.parent for folder in folders}
    if len(directories) != 1:
        return [(path, True) for path in given]
    oldest_first = [one.resolve() for one in reversed(sessions(directories.pop()))]
    places = [oldest_first.index(one) for one in folders if one in oldest_first]
    if len(places) < len(folders):
        return [(path, True) for path in given]
    between = oldest_first[min(places, default=0) : max(places, default=-1) + 1]
    return [(folders.get(one, one), one in folders) for one in between]
