"""Reasons why the card or a file on it cannot be written, in words, for log and screen."""

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
"""By error number; all of these may be transient."""

BECAME = {
    "renamed": "was renamed",
    "removed": "was removed",
    "replaced": "was replaced",
    "cut_short": "was cut short",
    "written_over": "was written over",
    "unchecked": "cannot be checked",
}
"""The fate of the file being written, by code; see `RecordFile.displaced`."""
