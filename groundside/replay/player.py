"""Plays a saved log through the same decoder and engine as live, at a chosen pace."""

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from pathlib import Path

import numpy as np

from groundside.replay.pacing import Pacing
from groundside.source import Update
from onboard.block import FloatArray
from onboard.efficiency.target import Aim
from onboard.profile import Profile
from onboard.ride import Ride
from onboard.telemetry.frames import Frames
from onboard.telemetry.logs import log_length_s, read_log, stamps_s
from onboard.telemetry.stamps import steps_s

TICK_S = 0.2
"""A snapshot is given this often, as by the daemon."""


class LogCursor:
    """Walks through a log's frames by their stamps.

    Parameters
    ----------
    path
        The log, or a session's folder.
    """

    def __init__(self, path: Path) -> None:
        self._windows: Iterator[Frames] = read_log(path)
        self._window: Frames | None = None
        self._at = 0
        self._place_s: FloatArray = np.empty(0)
        self._stamp_s: float | None = None
        self._end_s = 0.0
        self.last_s = 0.0
        """Place of the last frame given [s from the log's first stamp]."""
        self._next_window()

    @property
    def ended(self) -> bool:
        """Whether all frames are given."""
        return self._window is None

    def upto(self, place_s: float) -> Iterator[Frames]:
        """Give the frames stamped up to a place [s from the log's first stamp]."""
        while self._window is not None:
            stop = int(np.searchsorted(self._place_s, place_s, side="right"))
            if stop > self._at:
                given = self._window.where(np.arange(self._at, stop))
                self.last_s = float(self._place_s[stop - 1])
                self._at = stop
                yield given
            if stop < len(self._window):
                return
            self._next_window()

    def _next_window(self) -> None:
        self._window, self._at = next(self._windows, None), 0
        if self._window is not None and len(self._window):
            stamps = stamps_s(self._window)
            before_s = float(stamps[0]) if self._stamp_s is None else self._stamp_s
            along = self._end_s + np.cumsum(steps_s(stamps, before_s))
            self._stamp_s, self._end_s = float(stamps[-1]), float(along[-1])
            # A frame out of order does not hold up what stands behind it.
            self._place_s = np.maximum.accumulate(np.maximum(along, self.last_s))
        else:
            self._place_s = np.empty(0)


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
        self._duration_s = log_length_s(path)
        self._cursor = LogCursor(path)

    async def stream(self) -> AsyncIterator[Update]:
        """Give a snapshot at every tick until the log ends."""
        while True:
            for frames in self._cursor.upto(self.controls.place_s()):
                self._ride.take(frames)
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
