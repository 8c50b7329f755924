"""What a card, and a file on it, may come to while it is written, in words: for log and screen."""

import errno

CARD_TROUBLE = {
    errno.ENOSPC: "no space left on the card",
    errno.EDQUOT: "no space left on the card for this user",
    errno.EFBIG: "the file may not become larger",
    errno.EROFS: "the card is read-only",
    errno.EIO: "the card reports an error",
    errno.ENODEV: "the card is gone",
    errno.ENXIO: "the card is gone",
}
"""By error number; all of these may pass."""

BECAME = {
    "renamed": "was renamed",
    "removed": "was removed",
    "replaced": "was replaced",
    "cut_short": "was cut short",
    "written_over": "was written over",
    "unchecked": "cannot be checked",
}
"""What became of a file that was being written, by the code that says so."""


def in_words(problem: Exception) -> str:
    """Return what went wrong in words.

    Examples
    --------
    >>> in_words(OSError(errno.ENOSPC, "No space left on device"))
    'no space left on the card'
    >>> in_words(OSError(errno.EACCES, "Permission denied"))
    'permission denied'
    >>> in_words(ZeroDivisionError("division by zero"))
    "a program fault, ZeroDivisionError('division by zero')"
    """
    if not isinstance(problem, OSError):
        return f"a program fault, {problem!r}"
    known = CARD_TROUBLE.get(problem.errno or 0)
    return known or (problem.strerror or str(problem)).lower()
