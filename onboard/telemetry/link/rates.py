"""Arrival rate of each requested message, and the time of its next request."""

import math
from collections import deque
from dataclasses import field

from onboard.dataclass import dataclass
from onboard.telemetry.messages.table import Message

WINDOW_S = 5.0
"""Rates are measured over this time, and nothing is requested before it has passed."""

ENOUGH_FRACTION = 0.6
"""Share of the wanted rate that is sufficient: links lose some messages."""

BACKOFF_MOST_S = 30.0
"""Longest wait before a request is repeated, after 1, 2, 4 ... s."""


@dataclass(eq=False)
class Wanted:
    """One requested message: its arrivals, and the history of its requests."""

    message: Message
    counts: deque[tuple[float, int]] = field(default_factory=deque)
    tries: int = 0
    group_tries: int = 0
    refusals: int = 0
    unanswered: int = 0
    requested_s: float = -math.inf
    due_s: float = -math.inf

    def count(self, now_s: float, number: int) -> None:
        """Count arrivals."""
        self.counts.append((now_s, number))
        while self.counts[0][0] <= now_s - WINDOW_S:
            self.counts.popleft()

    def rate_hz(self, now_s: float) -> float:
        """Return the rate over the window, or over its last second if that is higher."""
        window = sum(number for at_s, number in self.counts if at_s > now_s - WINDOW_S)
        second = sum(number for at_s, number in self.counts if at_s > now_s - 1.0)
        # One message is no rate; two in a second are a stream that has just begun.
        return max(window / WINDOW_S, second if second > 1 else 0.0)

    def comes(self, now_s: float) -> bool:
        """Return whether it arrives often enough."""
        return self.rate_hz(now_s) >= ENOUGH_FRACTION * self.message.rate_hz

    def requested(self, now_s: float) -> None:
        """Record a request, and double the wait before the next one."""
        # The exponent is bounded: after hours of tries the power would overflow.
        self.due_s = now_s + min(2.0 ** min(self.tries, 10), BACKOFF_MOST_S)
        self.tries += 1
        self.requested_s = now_s
