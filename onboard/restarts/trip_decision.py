"""Wait until the autopilot's clocks can decide which sessions belong to the present trip."""

import math
from concurrent.futures import Future

from onboard.restarts.backlog import Backlog
from onboard.restarts.refold import TimedAction
from onboard.restarts.trip_sessions import Past, TripVerdict
from onboard.ride.learned_file import Clocks
from onboard.telemetry.mavlink.frames import Frames

DECIDE_AFTER_S = 20.0
"""Time by which an autopilot that knows the time of day has stated it [s]."""

BACKLOG_MOST_FRAMES = 20_000
"""Frames queued until the decision; if more come in, the record is read instead."""


class TripDecision:
    """Decides which sessions belong to the present trip, and queues what comes in until then.

    Parameters
    ----------
    past
        Result of the look back.
    """

    def __init__(self, past: "Future[Past]") -> None:
        self.past = past
        self.backlog = Backlog(BACKLOG_MOST_FRAMES)
        """Frames and actions since the daemon started."""
        self._since_s = math.nan

    def add(self, part: Frames | TimedAction) -> None:
        """Queue input of the present ride; empty frames would pile up on a silent link."""
        if not isinstance(part, Frames) or len(part):
            self.backlog.add(part)

    def verdict(self, clocks: Clocks, now_s: float) -> TripVerdict | None:
        """Return which sessions belong to the present trip; None while undecided.

        Parameters
        ----------
        clocks
            The autopilot's clocks, NaN where unknown.
        now_s
            The caller's monotonic clock [s].
        """
        if not math.isfinite(clocks.boot_s):
            return None
        if math.isnan(self._since_s):
            self._since_s = now_s
        if not math.isfinite(clocks.utc_s) and now_s - self._since_s < DECIDE_AFTER_S:
            return None
        return self.past.result().judge(clocks) if self.past.done() else None
