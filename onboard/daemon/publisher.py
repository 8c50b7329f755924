"""Publishing to viewers: snapshots with the daemon's own alerts, and at times the trip line."""

from collections import deque
from collections.abc import Callable
from dataclasses import replace

from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.coach import Coach
from onboard.contract.codec import as_line
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.daemon.own_alerts import OwnAlerts, Running
from onboard.daemon.snapshot_line import SnapshotLine
from onboard.feed.server import FeedServer
from onboard.record.subscriber import Subscriber
from onboard.restarts.trip_keeper import TripKeeper
from onboard.ride.newest import Newest, Reading
from onboard.ride.ride import NO_TRIAL

RATE_OVER_S = 5.0

TRIP_LINE_EVERY_S = 60.0
"""Interval between trip lines to all viewers [s]; each extends its own in between."""


class Publisher:
    """Assemble snapshots and publish them on the feed.

    Parameters
    ----------
    feed
        Serves the viewers.
    keeper
        Returns the keeper of the present ride.
    coach
        Returns the coach of its trial.
    """

    def __init__(
        self,
        feed: FeedServer,
        keeper: Callable[[], TripKeeper],
        coach: Callable[[], Coach | Unknown] = lambda: NO_TRIAL,
    ) -> None:
        self._feed = feed
        self._coach = coach
        self._keeper = keeper
        self._alerts = OwnAlerts()
        self.watching = Subscriber(AlertCode.ALERTS_FAILED, "the daemon's own alerts")
        """Runs the daemon's alerts: if they fail, figures stay visible."""
        self._seen_s: float | None = None
        self._counts: deque[tuple[float, int]] = deque()
        self._trip_line_due_s = 0.0
        self._line: SnapshotLine | None = None
        """The last full snapshot."""

    def craft_seen(self, now_s: float) -> None:
        """Record that a message of the followed craft arrived now [s]."""
        self._seen_s = now_s

    def another_ride(self) -> None:
        """Restart the message rate, and send all viewers the present trip line."""
        self._counts.clear()
        self._trip_line_due_s = 0.0
        self._line = None

    def trip_line(self) -> bytes:
        """Return the trip line: the trip so far."""
        return as_line(self._keeper().ride.engine.trip_line.rounded())

    def watch(self, running: Running) -> tuple[Alert, ...]:
        """Return the daemon's own alerts, and keep the time since each was raised."""
        return self.watching.run(running.now_s, lambda: self._alerts.now(running)) or ()

    def publish(self, running: Running, source: str) -> None:
        """Publish a full snapshot.

        Parameters
        ----------
        running
            State of the daemon.
        source
            Display name of the link.
        """
        now_s = running.now_s
        self._count(now_s)
        self._line = self._snapshot_line(source, now_s, self.watch(running))
        line = self._line.line
        if now_s >= self._trip_line_due_s:
            self._trip_line_due_s = now_s + TRIP_LINE_EVERY_S
            line = self.trip_line() + line
        self._feed.publish(line, now_s)

    def readings(self, newest: Newest, now_s: float) -> dict[str, Reading] | None:
        """Return the newest readings to publish; None before the first full snapshot."""
        if self._line is None:
            return None
        return newest.readings(self._line.snapshot, self.silent_s(now_s))

    def publish_newest(self, readings: dict[str, Reading], newest_t_s: float, now_s: float) -> None:
        """Publish the last full snapshot with the newest readings.

        Parameters
        ----------
        readings, newest_t_s
            The readings, and their stream time [s].
        now_s
            Monotonic time [s].
        """
        assert self._line is not None
        link = replace(self._line.snapshot.link, age_s=self._age_s(now_s))
        seq = self._keeper().ride.next_seq()
        self._feed.publish(self._line.newer(seq, newest_t_s, link, readings), now_s)

    def _count(self, now_s: float) -> None:
        messages = self._keeper().ride.decoder.messages
        if self._counts and messages < self._counts[-1][1]:
            # Another ride, after a fault, counts from zero.
            self._counts.clear()
        self._counts.append((now_s, messages))
        while now_s - self._counts[0][0] > RATE_OVER_S:
            self._counts.popleft()

    def _snapshot_line(self, source: str, now_s: float, alerts: tuple[Alert, ...]) -> SnapshotLine:
        """Return the snapshot; if the figures fail, one with that reason."""
        try:
            return self._full(source, now_s, alerts)
        except Exception as fault:
            if self._keeper().why_none is not None:
                raise
            self._keeper().failed(fault)
            return self._full(source, now_s, alerts)

    def _full(self, source: str, now_s: float, alerts: tuple[Alert, ...]) -> SnapshotLine:
        keeper = self._keeper()
        snapshot = keeper.ride.snapshot(
            source=source,
            age_s=self._age_s(now_s),
            messages_per_s=self._messages_per_s(),
            alerts=alerts,
            why_none=keeper.why_hidden,
            coach=keeper.why_hidden or self._coach(),
        )
        return SnapshotLine(snapshot)

    def silent_s(self, now_s: float) -> float:
        """Return the time since the last message of the followed craft [s]; 0 before the first."""
        return 0.0 if self._seen_s is None else now_s - self._seen_s

    def _age_s(self, now_s: float) -> Number:
        if self._seen_s is None:
            return Unknown(Reason.NO_AUTOPILOT)
        return now_s - self._seen_s

    def _messages_per_s(self) -> Number:
        if (why_none := self._keeper().why_none) is not None:
            # The ride receives no messages, so there are none to count.
            return why_none
        (first_s, first), (last_s, last) = self._counts[0], self._counts[-1]
        if last_s - first_s < 1.0:
            return Unknown(Reason.COUNTING)
        return (last - first) / (last_s - first_s)
