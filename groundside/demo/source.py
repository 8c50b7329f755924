"""The demo's snapshots: those of the daemon's real feed, with the player's controls beside them."""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

from groundside.connection.answers import Said
from groundside.connection.feed_client import FeedClient
from groundside.connection.source import ReplayState, Update
from groundside.demo.daemon import ChildDaemon
from groundside.demo.sender import LogSender
from groundside.replay.pacing import Pacing
from onboard.contract.commands import Command
from onboard.contract.snapshot import Snapshot
from onboard.telemetry.logs.telemetry_log import log_length_s

HOST = "127.0.0.1"

STUCK_UPDATES = 15
"""After the last frame is sent, the daemon is waited for while it gets on; after so many updates
with nothing new, three seconds of them on a machine that has time, what is missing is lost."""


SETTLES_S = 1.5
"""So long after the demo stood still its figures have settled, and nothing is called silent yet."""


class DemoSource:
    """Plays a log into a daemon of its own and gives what the daemon's feed says.

    Parameters
    ----------
    log, profile
        The ride and its craft.
    speed
        Multiple of real time; None lets the whole ride take `lasts_s`.
    lasts_s
        How long the ride should take [s] where no speed is given.
    stays_at_end
        Whether to go on when the ride is over; otherwise the stream ends.
    target_distance_m
        Distance that the rider wants to make from the start on [m].
    """

    def __init__(
        self,
        log: Path,
        profile: Path,
        *,
        speed: float | None = None,
        lasts_s: float = 20.0,
        stays_at_end: bool = False,
        target_distance_m: float | None = None,
    ) -> None:
        self.name = "demo ride (simulated)"
        self._duration_s = log_length_s(log)
        self.controls = Pacing(time.monotonic, speed or self._duration_s / lasts_s)
        self.places = None
        self._feed: FeedClient | None = None
        self._log, self._profile = log, profile
        self._stays_at_end = stays_at_end
        self._target_distance_m = target_distance_m
        self._before: Snapshot | None = None
        self._moved_s = time.monotonic()
        """The last snapshot before the demo stood still, and when that was."""
        self.sent = 0
        """Frames sent so far."""
        self._taken = self._stuck = 0
        """Messages the daemon has taken, and updates since there was a new one among them."""

    @property
    def talk(self) -> "DemoSource":
        """Itself: it passes on to the daemon what is said."""
        return self

    async def send(self, command: Command) -> Said:
        """Say something to the demo's daemon."""
        if self._feed is None:
            return Said(False, "the demo has not begun yet: nothing was said")
        return await self._feed.send(command)

    async def stream(self) -> AsyncIterator[Update]:
        """Return the daemon's snapshots until it has taken the whole ride."""
        async with ChildDaemon(self._profile, self._target_distance_m) as daemon:
            self.controls.restart()
            sender = LogSender(self._log, self.controls, (HOST, daemon.link_port))
            playing = asyncio.create_task(sender.run())
            self._feed = FeedClient(HOST, daemon.feed_port)
            feed = self._feed.stream()
            try:
                async for update in feed:
                    self.sent = sender.sent
                    yield self._with_place(update)
                    if playing.done():
                        playing.result()
                        self.sent = sender.sent  # some of it while the update was looked at
                        if not self._stays_at_end and self._caught_up(update):
                            break
            finally:
                self._feed = None
                playing.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await playing

    def _caught_up(self, update: Update) -> bool:
        taken = 0 if update.snapshot is None else update.snapshot.link.messages
        self._stuck = 0 if taken > self._taken else self._stuck + 1
        self._taken = max(taken, self._taken)
        return taken >= self.sent or self._stuck >= STUCK_UPDATES

    def _with_place(self, update: Update) -> Update:
        if update.snapshot is None:
            return update
        place_s = min(self.controls.place_s(), self._duration_s)
        now_s = time.monotonic()
        if not (self.controls.paused or place_s >= self._duration_s):
            self._moved_s = now_s
        # The daemon hears nothing while the demo stands still: what it says of that is no ride's.
        if self._before is None or now_s - self._moved_s < SETTLES_S:
            self._before = update.snapshot
        place = ReplayState(self.controls.speed, self.controls.paused, place_s, self._duration_s)
        return replace(update, snapshot=self._before, replay=place)
