"""Plays a saved log through the same decoder and engine as live, at a chosen pace and place."""

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

from groundside.connection.source import ReplayState, Talk, Update
from groundside.replay.pacing import Pacing
from groundside.replay.playing import start_playing
from groundside.replay.prepared import Prepared
from onboard.contract.trip_line import TripLine
from onboard.efficiency.advice.target import Aim
from onboard.profile import Profile

TICK_S = 0.2
"""A snapshot is given this often, as by the daemon."""

TRIP_LINE_EVERY = 5
"""While the whole ride is not known yet, the trip so far is told with each such update."""


class ReplaySource:
    """Snapshots of a saved log.

    Parameters
    ----------
    path
        The log, or a session's folder: that is played with what was said on the water.
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    speed
        Multiple of real time at the start.
    stays_at_end
        Whether to go on giving the last snapshot when the log ends, and to make the log ready for
        going back and forth; otherwise the stream ends.
    target_distance_m
        Distance that the rider wants to make from the start on [m].
    clock, sleep
        The time; tests give their own.

    Raises
    ------
    LogError
        If the log cannot be read.
    """

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
        start, self._duration_s = start_playing(path, profile, system_id, aim)
        self._playing = start.copied()
        self.prepared = Prepared(start, self._duration_s)
        self._wanted_s: float | None = None
        self._asked = asyncio.Event()
        self._updates = 0

    @property
    def places(self) -> "ReplaySource | None":
        """Itself, where it stays: a replay in plain lines runs through."""
        return self if self._stays_at_end else None

    @property
    def talk(self) -> Talk | None:
        """None: what was said was said."""
        return None

    async def stream(self) -> AsyncIterator[Update]:
        """Return a snapshot at every tick until the log ends."""
        if self._stays_at_end:
            self.prepared.start()
        try:
            while True:
                if self._wanted_s is not None:
                    await self._go()
                self._playing.advance(self.controls.place_s())
                yield self._update()
                if self._playing.ended and not self._stays_at_end:
                    break
                await self._tick()
        finally:
            self.prepared.stop()

    @property
    def place_s(self) -> float:
        """Where it is, or will be next [s from the log's start]."""
        if self._wanted_s is not None:
            return self._wanted_s
        return min(self.controls.place_s(), self._duration_s)

    def jump(self, seconds_s: float) -> None:
        """Go so far forward, or back where negative [s]."""
        self._go_to(self.place_s + seconds_s)

    def go_to(self, fraction: float) -> None:
        """Go to a share of the whole time, 0 to 1."""
        self._go_to(fraction * self._duration_s)

    def go_to_distance(self, distance_m: float) -> None:
        """Go to where the trip had made that distance [m]; stay while that is not known."""
        place_s = self.prepared.place_of_distance(distance_m)
        if place_s is not None:
            self._go_to(place_s)

    def next_event(self) -> bool:
        """Go to the next event; stay where there is none, and tell whether there was one."""
        place_s = self.prepared.next_event_s(self.place_s)
        if place_s is not None:
            self._go_to(place_s)
        return place_s is not None

    def event_before(self) -> None:
        """Go to the event before this place; to the start where there is none."""
        self._go_to(self.prepared.event_before_s(self.place_s))

    def _go_to(self, place_s: float) -> None:
        self._wanted_s = min(max(place_s, 0.0), self._duration_s)
        self.controls.go_to(self._wanted_s)
        self._asked.set()

    async def _tick(self) -> None:
        """Wait for the next tick, or until somebody wants to be elsewhere."""
        self._asked.clear()
        if self._wanted_s is not None:
            return
        waits = [asyncio.ensure_future(one) for one in (self._sleep(TICK_S), self._asked.wait())]
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for one in waits:
                one.cancel()

    async def _go(self) -> None:
        """Bring the ride to the wanted place: on from here, or from a state kept before it."""
        while self._wanted_s is not None:
            wanted_s, self._wanted_s = self._wanted_s, None
            # In a thread: where the log is not ready yet it may take a while.
            self._playing = await asyncio.to_thread(self.prepared.playing_at, wanted_s)
            self.controls.go_to(wanted_s)
        self._updates = 0

    def _update(self) -> Update:
        place_s = min(self.controls.place_s(), self._duration_s)
        # In a gap of the log the figures age as they did on the water.
        age_s = max(0.0, place_s - self._playing.last_s)
        snapshot = self._playing.ride.snapshot(self.name, age_s=age_s)
        replay = ReplayState(
            self.controls.speed,
            self.controls.paused,
            place_s,
            self._duration_s,
            self.prepared.ready_fraction,
            self.prepared.events,
        )
        due = self._updates % TRIP_LINE_EVERY == 0
        self._updates += 1
        return Update(snapshot, trip_line=self._trip_line() if due else None, replay=replay)

    def _trip_line(self) -> TripLine:
        """Return the line of the whole ride, or of the trip so far while that is not known."""
        return self.prepared.trip_line or self._playing.ride.engine.trip_line
