"""What the card that is written to may come to."""

import errno
from collections.abc import Mapping

from groundside.words.filling import system_words
from onboard.contract.codes import Value

CARD_TROUBLE: Mapping[int, str] = {
    errno.ENOSPC: "no space left on the card",
    errno.EDQUOT: "no space left on the card for this user",
    errno.EFBIG: "the file may not become larger",
    errno.EROFS: "the card is read-only",
    errno.EIO: "the card reports an error",
    errno.ENODEV: "the card is gone",
    errno.ENXIO: "the card is gone",
}
"""By error number; others as the system calls them."""

PROBLEMS: Mapping[str, str] = {
    "refused": "the card refuses it",
    "fault": "a program fault",
    "no_answer": "the card does not answer",
    "takes_nothing": "the card takes nothing in",
    "renamed": "the file was renamed",
    "removed": "the file was removed",
    "replaced": "the file was replaced",
    "cut_short": "the file was cut short",
    "written_over": "the file was written over",
}
"""By the codes of the recorder."""


def card_words(values: Mapping[str, Value]) -> str:
    """Give what is wrong, and where.

    Examples
    --------
    >>> card_words({"path": "records", "problem": "refused", "errno": errno.ENOSPC})
    'no space left on the card (records)'
    >>> card_words({"path": "records", "problem": "no_answer", "errno": None})
    'the card does not answer (records)'
    """
    number, problem = values["errno"], str(values["problem"])
    said = PROBLEMS.get(problem, problem)
    if isinstance(number, int):
        said = CARD_TROUBLE.get(number) or system_words(number)
    return f"{said} ({values['path']})"


def moved_words(values: Mapping[str, Value]) -> str:
    """Give how the record came to go on in another file."""
    problem = str(values["problem"])
    return f"Recording goes on in {values['path']}: {PROBLEMS.get(problem, problem)}."
