"""Confirmation of an irreversible action: the same key again within a few seconds."""

from collections.abc import Callable

AGAIN_S = 5.0
"""Time within which a second press confirms [s]."""
TOO_SOON_S = 0.3
"""Time within which a second press is ignored as a bouncing wet thumb [s]."""


class Confirmation:
    """A question answered by a second press, until it expires.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    again_s
        Time within which a second press confirms [s].

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

    def __init__(self, clock: Callable[[], float], again_s: float = AGAIN_S) -> None:
        self._clock = clock
        self._again_s = again_s
        self._what = ""
        self._since_s = 0.0

    @property
    def pending(self) -> str:
        """Subject of the open question; empty if there is none."""
        if self._what and self._clock() - self._since_s > self._again_s:
            self._what = ""
        return self._what

    def confirmed(self, what: str) -> bool:
        """Return whether this press confirms the question; if not, ask it."""
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
