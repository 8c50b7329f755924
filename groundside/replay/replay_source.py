"""Replays a saved log through the live decoder and engine, at any speed, with seeking."""

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

from groundside.connection.source import ReplayState, Update
from groundside.replay.pacing import Pacing
from groundside.replay.playback import start_playback
from groundside.replay.replay_coach import ReplayCoach
from groundside.replay.seek_index import SeekIndex
from onboard.contract.trip_line import TripLine
from onboard.efficiency.advice.target import Aim
from onboard.profile import Profile

TICK_S = 0.2
"""Interval between snapshots [s], the same as the daemon's."""

TRIP_LINE_EVERY = 5
"""Number of updates per trip line sent, until the whole ride is indexed."""


class ReplaySource:
    """Snapshots of a saved log.

    Parameters
    ----------
    path
        The log, or a session's folder, which is played with the commands given on the water.
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    speed
        Initial speed, as a multiple of real time.
    stays_at_end
        Whether to keep yielding the last snapshot when the log ends, and to index the log for
        seeking; otherwise the stream ends.
    target_distance_m
        The rider's distance to go from the start [m].
    clock, sleep
        Monotonic clock [s] and sleep; replaced in tests.

    Raises
    ------
    LogError
        If the log cannot be read.
    """

    command_sender = None

    def __init__(
        self,
        path: Path,
        profile: Profile,
        *,
        system_id: int | None = None,
        speed: float = 1.0,
        stays_at_end: bool = False,
        target_distance_m: float | None = None,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.name = f"replay of {path.name}"
        self.controls = Pacing(clock, speed)
        self._stays_at_end = stays_at_end
        self._sleep = sleep
        aim = None if target_distance_m is None else Aim(distance_m=target_distance_m)
        start, self._duration_s = start_playback(path, profile, system_id, aim)
        self._playback = start.copied()
        self._coach = ReplayCoach(path, profile, system_id)
        self.index = SeekIndex(start, self._duration_s)
        self._wanted_s: float | None = None
        self._seek_requested = asyncio.Event()
        self._updates = 0

    @property
    def seek_controls(self) -> "ReplaySource | None":
        """The source itself if it stays at the end; plain lines run straight through."""
        return self if self._stays_at_end else None

    async def stream(self) -> AsyncIterator[Update]:
        """Yield a snapshot at every tick until the log ends."""
        if self._stays_at_end:
            self.index.start()
        try:
            while True:
                if self._wanted_s is not None:
                    await self._seek()
                place_s = self.controls.place_s()
                self._playback.advance(place_s)
                await self._coach.turn(self._playback)
                yield self._update(min(place_s, self._duration_s))
                if self._playback.ended and not self._stays_at_end:
                    break
                await self._tick()
        finally:
            self.index.stop()

    @property
    def place_s(self) -> float:
        """The present place, or the one being sought to [s from the log's start]."""
        if self._wanted_s is not None:
            return self._wanted_s
        return min(self.controls.place_s(), self._duration_s)

    def jump(self, seconds_s: float) -> None:
        """Skip forward, or back if negative [s]."""
        self._go_to(self.place_s + seconds_s)

    def go_to(self, fraction: float) -> None:
        """Go to a share of the duration, 0 to 1."""
        self._go_to(fraction * self._duration_s)

    def go_to_distance(self, distance_m: float) -> None:
        """Go to where the trip reached a distance [m]; stay while that is not indexed."""
        place_s = self.index.place_of_distance(distance_m)
        if place_s is not None:
            self._go_to(place_s)

    def next_event(self) -> bool:
        """Go to the next event; stay and return False if there is none."""
        place_s = self.index.next_event_s(self.place_s)
        if place_s is not None:
            self._go_to(place_s)
        return place_s is not None

    def event_before(self) -> None:
        """Go to the previous event, or to the start if there is none."""
        self._go_to(self.index.event_before_s(self.place_s))

    def _go_to(self, place_s: float) -> None:
        self._wanted_s = min(max(place_s, 0.0), self._duration_s)
        self.controls.go_to(self._wanted_s)
        self._seek_requested.set()

    async def _tick(self) -> None:
        """Wait for the next tick or a seek."""
        self._seek_requested.clear()
        if self._wanted_s is not None:
            return
        waits = [
            asyncio.ensure_future(one) for one in (self._sleep(TICK_S), self._seek_requested.wait())
        ]
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for one in waits:
                one.cancel()

    async def _seek(self) -> None:
        """Play the ride to the wanted place, from the nearest checkpoint before it."""
        while self._wanted_s is not None:
            wanted_s, self._wanted_s = self._wanted_s, None
            # In a thread: it takes a while if the log is not indexed there yet.
            self._playback = await asyncio.to_thread(self.index.playback_at, wanted_s)
            self.controls.go_to(wanted_s)
        self._updates = 0

    def _update(self, place_s: float) -> Update:
        # In a gap of the log the figures age as they did on the water. The time that it took to
        # play up to the place is not part of their age, so the clock is not read again.
        age_s = max(0.0, place_s - self._playback.last_s)
        snapshot = self._playback.ride.snapshot(self.name, age_s=age_s, coach=self._coach.now())
        replay = ReplayState(
            self.controls.speed,
            self.controls.paused,
            place_s,
            self._duration_s,
            self.index.ready_fraction,
            self.index.events,
        )
        due = self._updates % TRIP_LINE_EVERY == 0
        self._updates += 1
        return Update(snapshot, trip_line=self._trip_line() if due else None, replay=replay)

    def _trip_line(self) -> TripLine:
        """Return the line of the whole ride once it is indexed, else of the trip so far."""
        return self.index.trip_line or self._playback.ride.engine.trip_line
