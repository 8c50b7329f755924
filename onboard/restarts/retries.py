"""Retry policy of the figures after a fault: pauses, and parts to leave out.

The first fault may be transient: everything is retried. A part that fails a second time, before
some two minutes have passed without a fault, is left out, so that the others recover. If no part is
to blame the pauses double, and eventually the figures are given up as a whole; a new profile or a
new trip resets the policy.
"""

from onboard.efficiency.parts import PartError

PAUSE_FIRST_S, PAUSE_MOST_S = 1.0, 64.0

SOUND_AFTER_S = 60.0
"""Time without a fault [s] that resets the count, in addition to the longest pause."""

TRIES_MOST = 8
"""Consecutive faults, with no part left out in between, after which the figures are given up."""


class Retries:
    """Counts the faults of the figures."""

    def __init__(self) -> None:
        self.without: set[str] = set()
        """Parts that are left out."""
        self.faults = 0
        """Total number of faults."""
        self._suspects: set[str] = set()
        self._in_a_row = 0
        self._failed_s = float("-inf")

    def failed(self, fault: BaseException, now_s: float) -> float | None:
        """Record a fault; return the pause before the next attempt [s], None to give up."""
        if now_s - self._failed_s > SOUND_AFTER_S + PAUSE_MOST_S:
            self._suspects.clear()
            self._in_a_row = 0
        self._failed_s = now_s
        self.faults += 1
        self._in_a_row += 1
        part = fault.part if isinstance(fault, PartError) else None
        pause_s = min(PAUSE_FIRST_S * 2.0 ** (self._in_a_row - 1), PAUSE_MOST_S)
        if part in self._suspects:
            self.without.add(part)
            self._in_a_row = 0
        elif part is not None:
            self._suspects.add(part)
        return None if self._in_a_row >= TRIES_MOST else pause_s

    def reset(self) -> None:
        """Give every part another chance."""
        self.without.clear()
        self._suspects.clear()
        self._in_a_row = 0
