"""What viewers get five times a second: the snapshot, now and then the trip so far, own alerts."""

from collections import deque
from collections.abc import Callable

from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.codec import as_line
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.daemon.own_alerts import OwnAlerts, Running
from onboard.feed.server import FeedServer
from onboard.record.subscriber import Subscriber
from onboard.restarts.trip_keeper import TripKeeper

RATE_OVER_S = 5.0

TRIP_LINE_EVERY_S = 60.0
"""All viewers get the trip so far this often; each draws it on by itself in between."""


class Publisher:
    """Puts snapshots together and hands them to the feed.

    Parameters
    ----------
    feed
        Serves the viewers.
    keeper
        Gives the keeper of the ride of now.
    """

    def __init__(self, feed: FeedServer, keeper: Callable[[], TripKeeper]) -> None:
        self._feed = feed
        self._keeper = keeper
        self._alerts = OwnAlerts()
        self.watching = Subscriber(AlertCode.ALERTS_FAILED, "the daemon's own alerts")
        """Own alerts may fail, and the figures still be shown."""
        self._heard_s: float | None = None
        self._counts: deque[tuple[float, int]] = deque()
        self._trip_line_due_s = 0.0

    def heard(self, now_s: float) -> None:
        """Note that the followed craft was heard just now [s]."""
        self._heard_s = now_s

    def another_ride(self) -> None:
        """Count anew, and give all viewers the line of the trip that it is now."""
        self._counts.clear()
        self._trip_line_due_s = 0.0

    def trip_line(self) -> bytes:
        """Return the line that shows the trip so far."""
        return as_line(self._keeper().ride.engine.trip_line.rounded())

    def publish(self, running: Running, source: str) -> None:
        """Return the viewers how all is now.

        Parameters
        ----------
        running
            How the daemon is running.
        source
            Where the frames come from, for people to read.
        """
        now_s = running.now_s
        self._count(now_s)
        alerts = self.watching.run(now_s, lambda: self._alerts.now(running)) or ()
        line = self._snapshot_line(source, now_s, alerts)
        if now_s >= self._trip_line_due_s:
            self._trip_line_due_s = now_s + TRIP_LINE_EVERY_S
            line = self.trip_line() + line
        self._feed.publish(line, now_s)

    def _count(self, now_s: float) -> None:
        messages = self._keeper().ride.decoder.messages
        if self._counts and messages < self._counts[-1][1]:
            # Another ride, after a fault: it counts from nought.
            self._counts.clear()
        self._counts.append((now_s, messages))
        while now_s - self._counts[0][0] > RATE_OVER_S:
            self._counts.popleft()

    def _snapshot_line(self, source: str, now_s: float, alerts: tuple[Alert, ...]) -> bytes:
        """Return the snapshot; where the figures fail at it, one that says so."""
        try:
            return self._line(source, now_s, alerts)
        except Exception as fault:
            if self._keeper().why_none is not None:
                raise
            self._keeper().failed(fault)
            return self._line(source, now_s, alerts)

    def _line(self, source: str, now_s: float, alerts: tuple[Alert, ...]) -> bytes:
        keeper = self._keeper()
        snapshot = keeper.ride.snapshot(
            source=source,
            age_s=self._age_s(now_s),
            messages_per_s=self._messages_per_s(),
            alerts=alerts,
            why_none=keeper.why_hidden,
        )
        return as_line(snapshot)

    def _age_s(self, now_s: float) -> Number:
        if self._heard_s is None:
            return Unknown(Reason.NO_AUTOPILOT)
        return now_s - self._heard_s

    def _messages_per_s(self) -> Number:
        if (why_none := self._keeper().why_none) is not None:
            # The ride is given nothing: it has nothing to count.
            return why_none
        (first_s, first), (last_s, last) = self._counts[0], self._counts[-1]
        if last_s - first_s < 1.0:
            return Unknown(Reason.COUNTING)
        return (last - first) / (last_s - first_s)
