"""Asks once more before something that cannot be taken back: the same key again, and soon."""

from collections.abc import Callable

AGAIN_S = 5.0
"""For so long a second press counts as yes [s]."""
TOO_SOON_S = 0.3
"""A wet thumb that bounces is no second press [s]."""


class Confirmation:
    """Remembers what was asked, until it is answered or too old.

    Parameters
    ----------
    clock
        A monotonic clock [s].

    Examples
    --------
    >>> now_s = 0.0
    >>> asking = Confirmation(lambda: now_s)
    >>> asking.confirmed("full"), asking.open
    (False, 'full')
    >>> now_s = 2.0
    >>> asking.confirmed("full"), asking.open
    (True, '')
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._what = ""
        self._since_s = 0.0

    @property
    def open(self) -> str:
        """What is being asked now, empty for nothing."""
        if self._what and self._clock() - self._since_s > AGAIN_S:
            self._what = ""
        return self._what

    def confirmed(self, what: str) -> bool:
        """Return whether this press answers the question; else ask it."""
        if self.open == what:
            if self._clock() - self._since_s < TOO_SOON_S:
                return False
            self._what = ""
            return True
        self._what, self._since_s = what, self._clock()
        return False

    def drop(self) -> None:
        """Ask nothing any more."""
        self._what = ""
