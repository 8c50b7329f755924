"""Recognise an on-board log by the content of its first bytes."""

from onboard.telemetry.logs.onboard_log.record_framing import MARK_1, MARK_2
from onboard.telemetry.logs.onboard_log.record_layouts import (
    FORMAT_BYTES,
    FORMAT_TYPE,
    OWN_RECORD,
    layout_of,
)

JUNK_MOST = 8192
"""Longest junk in front of the first record [bytes]: a block or two of a storage chip."""

_FORMAT_START = bytes([MARK_1, MARK_2, FORMAT_TYPE])


def looks_like_onboard_log(head: bytes) -> bool:
    """Return whether a file that begins with these bytes is an on-board log.

    It is if near its start a format record describes format records, or any consistent format
    record is followed by another record or the end of the bytes.

    Examples
    --------
    >>> looks_like_onboard_log(b"no log")
    False
    """
    at = head.find(_FORMAT_START, 0, JUNK_MOST + len(_FORMAT_START))
    while at >= 0:
        record, behind = head[at : at + FORMAT_BYTES], head[at + FORMAT_BYTES :][:2]
        if record == OWN_RECORD:
            return True
        if (
            len(record) == FORMAT_BYTES
            and bytes([MARK_1, MARK_2]).startswith(behind)
            and layout_of(record) is not None
        ):
            return True
        at = head.find(_FORMAT_START, at + 1, JUNK_MOST + len(_FORMAT_START))
    return False
