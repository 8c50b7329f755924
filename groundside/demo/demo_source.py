"""The demo: a log played into a real daemon, whose feed supplies the snapshots."""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

from groundside.connection.commands import CommandResult
from groundside.connection.feed_client import FeedClient
from groundside.connection.source import ReplayState, Update
from groundside.demo.child_daemon import ChildDaemon
from groundside.demo.log_sender import LogSender
from groundside.replay.pacing import Pacing
from onboard.contract.commands import Command
from onboard.contract.snapshot import Snapshot
from onboard.telemetry.logs.telemetry_log import log_length_s

HOST = "127.0.0.1"

STUCK_UPDATES = 15
"""Number of updates without progress after which missing frames count as lost: three seconds on an
idle machine. After the last frame the demo waits as long as the daemon makes progress."""

SETTLES_S = 1.5
"""Time after a halt at which figures have settled, but nothing is reported as silent yet [s]."""


class DemoSource:
    """Plays a log into its own daemon and yields the updates of the daemon's feed.

    Parameters
    ----------
    log, profile
        The ride and its craft.
    speed
        Multiple of real time; None plays the whole ride in `lasts_s`.
    lasts_s
        Duration of the whole ride if no speed is given [s].
    stays_at_end
        Whether to go on after the end of the ride; otherwise the stream ends.
    target_distance_m
        The rider's distance to go from the start [m].
    """

    seek_controls = None

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
        """Messages that the daemon has received, and updates since that number last grew."""

    @property
    def command_sender(self) -> "DemoSource":
        """The source itself: it passes commands on to its daemon."""
        return self

    async def send(self, command: Command) -> CommandResult:
        """Send a command to the demo's daemon."""
        if self._feed is None:
            return CommandResult(False, "the demo has not begun yet: nothing was said")
        return await self._feed.send(command)

    async def stream(self) -> AsyncIterator[Update]:
        """Yield the daemon's snapshots until it has received the whole ride."""
        async with ChildDaemon(self._profile, self._target_distance_m) as daemon:
            self.controls.go_to(0.0)
            sender = LogSender(self._log, self.controls, (HOST, daemon.link_port))
            sending = asyncio.create_task(sender.run())
            self._feed = FeedClient(HOST, daemon.feed_port)
            feed = self._feed.stream()
            try:
                async for update in feed:
                    self.sent = sender.sent
                    yield self._with_replay_state(update)
                    if sending.done():
                        sending.result()
                        self.sent = sender.sent  # it may have grown while the update was shown
                        if not self._stays_at_end and self.caught_up(update):
                            break
            finally:
                self._feed = None
                sending.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await sending

    def caught_up(self, update: Update) -> bool:
        """Return whether the daemon has received all frames sent, or will receive no more."""
        taken = 0 if update.snapshot is None else update.snapshot.link.messages
        self._stuck = 0 if taken > self._taken else self._stuck + 1
        self._taken = max(taken, self._taken)
        return taken >= self.sent or self._stuck >= STUCK_UPDATES

    def _with_replay_state(self, update: Update) -> Update:
        if update.snapshot is None:
            return update
        place_s = min(self.controls.place_s(), self._duration_s)
        state = ReplayState(self.controls.speed, self.controls.paused, place_s, self._duration_s)
        now_s = time.monotonic()
        if not state.stands_still:
            self._moved_s = now_s
        # While the demo is paused its daemon receives nothing; the alerts about that do not belong
        # to the ride, so show the snapshot from before the pause.
        if self._before is None or now_s - self._moved_s < SETTLES_S:
            self._before = update.snapshot
        return replace(update, snapshot=self._before, replay=state)
