"""A limit on repeated messages: a fault that comes five times a second must not fill a card.

The first of a kind passes at once, then one a minute, which says how many were left out.
"""

import logging
import re
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

EVERY_S = 60.0
"""How often messages of one kind may pass [s]."""

ANSWER = {"is_answer": True}
"""`extra` of a message that answers somebody: it passes, however many are asked for."""

KINDS_MOST = 200
"""Kinds that are remembered; the one that was quiet for longest is forgotten first."""

KEY_MOST = 200
"""How much of a message tells its kind [characters]."""

_DIRECTIVE = re.compile(r"%(\(\w*\))?[-#0 +]*(\*|\d+)?(\.(\*|\d+))?[a-zA-Z%]")


@dataclass
class _Kind:
    passed_s: float
    left_out: int = 0


class QuietFilter(logging.Filter):
    """Lets a kind of message through once a minute. Belongs on a handler, one for each.

    Messages of one format string and level are of one kind. Where the format holds no word, such as
    `%s`, the text itself tells the kind.

    Parameters
    ----------
    clock_s
        Monotonic clock [s].
    every_s
        How often a kind may pass [s].
    kinds_most
        How many kinds are remembered.
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
        self._kinds: OrderedDict[tuple[int, str], _Kind] = OrderedDict()
        # A handler asks its filters before it takes its own lock.
        self._lock = threading.Lock()

    def filter(self, record: logging.LogRecord) -> bool:
        """Return whether a message passes; one that does says how many before it did not."""
        if getattr(record, "is_answer", False):
            return True
        with self._lock:
            now_s, key = self._clock_s(), _key(record)
            kind = self._kinds.get(key)
            if kind is None:
                self._kinds[key] = _Kind(now_s)
                if len(self._kinds) > self._kinds_most:
                    self._kinds.popitem(last=False)
                return True
            self._kinds.move_to_end(key)
            since_s = now_s - kind.passed_s
            if since_s < self._every_s:
                kind.left_out += 1
                return False
            if kind.left_out:
                record.msg = f"{_text(record)} ({_left_out(kind.left_out, since_s)})"
                record.args = ()
            kind.passed_s, kind.left_out = now_s, 0
            return True

    def left_out(self) -> int:
        """Return how many messages were left out and have not been counted in any message yet."""
        with self._lock:
            return sum(kind.left_out for kind in self._kinds.values())


def _key(record: logging.LogRecord) -> tuple[int, str]:
    form = str(record.msg)
    if not re.search(r"[^\W\d_]", _DIRECTIVE.sub("", form)):
        form = _text(record)
    return record.levelno, form[:KEY_MOST]


def _text(record: logging.LogRecord) -> str:
    try:
        return record.getMessage()
    except (TypeError, ValueError):
        # Wrong arguments are the handler's to complain of.
        return str(record.msg)


def _left_out(count: int, since_s: float) -> str:
    minutes = round(since_s / 60.0)
    span = "minute" if minutes <= 1 else f"{minutes} minutes"
    return f"{count} more like this in the last {span}"
