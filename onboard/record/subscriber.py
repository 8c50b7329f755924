"""A subscriber: a part of the daemon that works beside the record and may fail alone.

A fault is counted, logged in full once, and shown as an alert; the part is retried after a pause
that doubles with every consecutive fault. The strict switch raises instead: tests run with it, so
that nothing fails unseen.
"""

import logging
import os
import traceback
from collections.abc import Callable
from typing import TypeVar

from onboard.contract.alerts import AlertCode

Value = TypeVar("Value")

STRICT = "WATTWAKE_STRICT"
"""Environment variable; set to 1, every fault ends the daemon."""

PAUSE_FIRST_S, PAUSE_MOST_S = 0.2, 60.0

SOUND_AFTER_S = 30.0
"""Time without a fault after which the next one counts as the first [s]."""

LOGGED_MOST = 50
"""Distinct faults logged in full at most; further ones are only counted."""

log = logging.getLogger("wattwake")


def strict() -> bool:
    """Return whether faults are to be raised."""
    return os.environ.get(STRICT) == "1"


class Faults:
    """Counts faults, and logs each distinct one once with its traceback.

    Parameters
    ----------
    what
        Name of the failing part in the log.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._logged: set[tuple[str, str, int | None]] = set()
        self.count = 0

    def note(self, fault: BaseException) -> None:
        """Count a fault.

        Raises
        ------
        BaseException
            The fault itself, if the strict switch is on.
        """
        if strict():
            raise fault
        self.count += 1
        root = fault.__cause__ or fault
        frames = traceback.extract_tb(root.__traceback__)
        where = frames[-1] if frames else None
        kind = (type(root).__name__, where.filename if where else "", where and where.lineno)
        if kind not in self._logged and len(self._logged) < LOGGED_MOST:
            self._logged.add(kind)
            log.error("fault in %s; recording goes on", self._what, exc_info=fault)


class Subscriber:
    """Runs an action repeatedly, however often it fails.

    Parameters
    ----------
    code
        Alert that shows its faults.
    what
        Its name in the log and the alert.
    """

    def __init__(self, code: AlertCode, what: str) -> None:
        self.code, self.what = code, what
        self._faults = Faults(what)
        self.pause_s = PAUSE_FIRST_S
        """Pause after a fault [s]."""
        self._failed_s: float | None = None

    @property
    def faults(self) -> int:
        """Number of faults."""
        return self._faults.count

    @property
    def failing(self) -> bool:
        """Whether it has failed recently."""
        return self._failed_s is not None

    def run(self, now_s: float, act: Callable[[], Value]) -> Value | None:
        """Run the action, unless it pauses after a fault; return None if it paused or failed.

        Parameters
        ----------
        now_s
            The caller's monotonic clock [s].
        act
            The action.
        """
        if self._failed_s is not None:
            if now_s - self._failed_s < self.pause_s:
                return None
            if now_s - self._failed_s > self.pause_s + SOUND_AFTER_S:
                self._failed_s, self.pause_s = None, PAUSE_FIRST_S
        try:
            return act()
        except Exception as fault:
            self.failed(now_s, fault)
            return None

    def failed(self, now_s: float, fault: BaseException) -> None:
        """Record a fault that was caught elsewhere, at a time [s]."""
        self._faults.note(fault)
        if self._failed_s is not None:
            self.pause_s = min(2.0 * self.pause_s, PAUSE_MOST_S)
        self._failed_s = now_s
