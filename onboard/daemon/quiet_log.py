"""Rate limit on repeated log messages: a fault five times a second must not fill a card.

The first message of a kind passes at once, then one per minute, with the count of those suppressed.
"""

import logging
import re
import threading
import time
from collections import OrderedDict
from collections.abc import Callable

from onboard.dataclass import dataclass

EVERY_S = 60.0
"""Shortest interval between messages of one kind [s]."""

ANSWER = {"is_answer": True}
"""`extra` of a message that answers the owner: it always passes."""

KINDS_MOST = 200
"""Kinds stored at most; the one silent for longest is discarded first."""

KEY_MOST = 200
"""Leading characters of a message that define its kind."""

_DIRECTIVE = re.compile(r"%(\(\w*\))?[-#0 +]*(\*|\d+)?(\.(\*|\d+))?[a-zA-Z%]")


@dataclass
class _Kind:
    passed_s: float
    suppressed: int = 0


class QuietFilter(logging.Filter):
    """Pass one message of a kind per minute. Add an instance to each handler.

    Messages with the same format string and level are of one kind. If the format contains no word,
    such as `%s`, the formatted text counts instead.

    Parameters
    ----------
    clock_s
        Monotonic clock [s].
    every_s
        Shortest interval between messages of one kind [s].
    kinds_most
        Kinds stored at most.
    """

    def __init__(
        self,
        clock_s: Callable[[], float] = time.monotonic,
        every_s: float = EVERY_S,
        kinds_most: int = KINDS_MOST,
    ) -> None:
        super().__init__()
        self._clock_s = clock_s
        self._every_s = every_s
        self._kinds_most = kinds_most
        self.kinds: OrderedDict[tuple[int, str], _Kind] = OrderedDict()
        # A handler calls its filters before it takes its own lock.
        self._lock = threading.Lock()

    def filter(self, record: logging.LogRecord) -> bool:
        """Return whether a message passes, after adding the count of those suppressed before it."""
        if getattr(record, "is_answer", False):
            return True
        with self._lock:
            now_s, key = self._clock_s(), _key(record)
            kind = self.kinds.get(key)
            if kind is None:
                self.kinds[key] = _Kind(now_s)
                if len(self.kinds) > self._kinds_most:
                    self.kinds.popitem(last=False)
                return True
            self.kinds.move_to_end(key)
            since_s = now_s - kind.passed_s
            if since_s < self._every_s:
                kind.suppressed += 1
                return False
            if kind.suppressed:
                record.msg = f"{_text(record)} ({_summary(kind.suppressed, since_s)})"
                record.args = ()
            kind.passed_s, kind.suppressed = now_s, 0
            return True

    def suppressed(self) -> int:
        """Return the number of suppressed messages that no message has reported yet."""
        with self._lock:
            return sum(kind.suppressed for kind in self.kinds.values())


def _key(record: logging.LogRecord) -> tuple[int, str]:
    form = str(record.msg)
    if not re.search(r"[^\W\d_]", _DIRECTIVE.sub("", form)):
        form = _text(record)
    return record.levelno, form[:KEY_MOST]


def _text(record: logging.LogRecord) -> str:
    try:
        return record.getMessage()
    except (TypeError, ValueError):
        # Reporting wrong arguments is up to the handler.
        return str(record.msg)


def _summary(count: int, since_s: float) -> str:
    minutes = round(since_s / 60.0)
    span = "minute" if minutes <= 1 else f"{minutes} minutes"
    return f"{count} more like this in the last {span}"
