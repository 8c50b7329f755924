"""Which messages the daemon needs how often, how they come, and when to ask for one again."""

import math
from collections import deque
from dataclasses import dataclass, field

from onboard.telemetry.mavlink import layouts

WINDOW_S = 5.0
"""Rates are measured over this time, and nothing is asked for before it has gone by."""

ENOUGH_FRACTION = 0.6
"""A message that comes at this share of the rate needed is left alone: links lose some."""

BACKOFF_MOST_S = 30.0
"""A request is repeated after 1, 2, 4 ... s, at most this."""

RAW_SENSORS, EXTENDED_STATUS, POSITION, EXTRA_1, EXTRA_2, EXTRA_3 = 1, 2, 6, 10, 11, 12
"""MAV_DATA_STREAM, the groups of messages of REQUEST_DATA_STREAM."""


@dataclass(frozen=True)
class Need:
    """A message the daemon uses, how often, and the stream groups that may hold it.

    The definitions place GPS_RAW and GLOBAL_POSITION_INT only and leave the rest to the autopilot;
    the other groups are common practice, no source.
    """

    rate_hz: float
    groups: tuple[int, ...] = ()
    optional: bool = False
    """Not every craft has it; one of those that are optional is enough."""


NEEDS = {
    layouts.SYS_STATUS: Need(2.0, (EXTENDED_STATUS,)),
    layouts.BATTERY_STATUS: Need(2.0, (EXTRA_3,)),
    layouts.GPS_RAW_INT: Need(5.0, (EXTENDED_STATUS, RAW_SENSORS)),
    layouts.GLOBAL_POSITION_INT: Need(5.0, (POSITION,)),
    layouts.ATTITUDE: Need(4.0, (EXTRA_1,)),
    layouts.VFR_HUD: Need(2.0, (EXTRA_2,)),
    layouts.SYSTEM_TIME: Need(1.0, (EXTRA_3,)),
    layouts.ESC_TELEMETRY_1_TO_4: Need(2.0, optional=True),
    layouts.ESC_STATUS: Need(2.0, optional=True),
}


@dataclass(eq=False)
class Wanted:
    """How one needed message comes, and how asking for it went."""

    message_id: int
    need: Need
    counts: deque[tuple[float, int]] = field(default_factory=deque)
    tries: int = 0
    group_tries: int = 0
    refusals: int = 0
    unanswered: int = 0
    asked_s: float = -math.inf
    due_s: float = -math.inf

    def count(self, now_s: float, number: int) -> None:
        """Note arrivals."""
        self.counts.append((now_s, number))
        while self.counts[0][0] <= now_s - WINDOW_S:
            self.counts.popleft()

    def rate_hz(self, now_s: float) -> float:
        """Return the rate: over the window, or over its last second where that is more."""
        window = sum(number for at_s, number in self.counts if at_s > now_s - WINDOW_S)
        second = sum(number for at_s, number in self.counts if at_s > now_s - 1.0)
        # One message is no rate; two in a second are a stream that has just begun.
        return max(window / WINDOW_S, second if second > 1 else 0.0)

    def comes(self, now_s: float) -> bool:
        """Return whether it comes often enough."""
        return self.rate_hz(now_s) >= ENOUGH_FRACTION * self.need.rate_hz

    def asked(self, now_s: float) -> None:
        """Note a request: the next one waits longer."""
        # The power grows no further than needed: after hours of tries it would overflow.
        self.due_s = now_s + min(2.0 ** min(self.tries, 10), BACKOFF_MOST_S)
        self.tries += 1
        self.asked_s = now_s
