"""Asks once more before something that cannot be taken back: the same key again, and soon."""

from collections.abc import Callable

AGAIN_S = 5.0
"""A second press counts as yes for so long [s]."""
TOO_SOON_S = 0.3
"""A second press within this is a wet thumb that bounces [s]."""


class Confirmation:
    """A question that a second press answers, until it is too old.

    Parameters
    ----------
    clock
        A monotonic clock [s].

    Examples
    --------
    >>> now_s = 0.0
    >>> confirmation = Confirmation(lambda: now_s)
    >>> confirmation.confirmed("full"), confirmation.pending
    (False, 'full')
    >>> now_s = 2.0
    >>> confirmation.confirmed("full"), confirmation.pending
    (True, '')
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._what = ""
        self._since_s = 0.0

    @property
    def pending(self) -> str:
        """What the question is about, empty if there is none."""
        if self._what and self._clock() - self._since_s > AGAIN_S:
            self._what = ""
        return self._what

    def confirmed(self, what: str) -> bool:
        """Return whether this press answers the question; else ask it."""
        if self.pending == what:
            if self._clock() - self._since_s < TOO_SOON_S:
                return False
            self._what = ""
            return True
        self._what, self._since_s = what, self._clock()
        return False

    def cancel(self) -> None:
        """Drop the question."""
        self._what = ""
