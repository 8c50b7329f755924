"""Plays a saved log through the same decoder and engine as live, at a chosen pace."""

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

from groundside.replay.cursors import cursor
from groundside.replay.pacing import Pacing
from groundside.source import Update
from onboard.efficiency.target import Aim
from onboard.profile import Profile
from onboard.ride import Ride

TICK_S = 0.2
"""A snapshot is given this often, as by the daemon."""


class ReplaySource:
    """Snapshots of a saved log.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    speed
        Multiple of real time at the start.
    stays_at_end
        Whether to go on giving the last snapshot when the log ends; otherwise the stream ends.
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
        self._ride = Ride(profile, system_id)
        if target_distance_m is not None:
            self._ride.engine.set_aim(Aim(distance_m=target_distance_m))
        self._stays_at_end = stays_at_end
        self._sleep = sleep
        self._cursor, self._duration_s = cursor(path)

    async def stream(self) -> AsyncIterator[Update]:
        """Give a snapshot at every tick until the log ends."""
        while True:
            for part in self._cursor.upto(self.controls.place_s()):
                self._ride.take(part)
            if self._cursor.ended:
                break
            yield self._update()
            await self._sleep(TICK_S)
        self._ride.finish()
        yield self._update()
        while self._stays_at_end:
            await self._sleep(TICK_S)
            yield self._update()

    def _update(self) -> Update:
        place_s = min(self.controls.place_s(), self._duration_s)
        # In a gap of the log the figures age as they did on the water.
        age_s = max(0.0, place_s - self._cursor.last_s)
        snapshot = self._ride.snapshot(self.name, age_s=age_s).as_dict()
        snapshot["replay"] = {
            "speed": self.controls.speed,
            "paused": self.controls.paused,
            "t_s": place_s,
            "duration_s": self._duration_s,
        }
        return Update(snapshot)
