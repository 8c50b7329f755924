"""The coach of a replayed trial: as on the water, but reckoned in this process."""

import asyncio
from pathlib import Path

from groundside.replay.playback import Playback
from onboard.coach.following import Following
from onboard.coach.reckoning import Reckoning
from onboard.contract.coach import Coach
from onboard.contract.figure import Unknown
from onboard.profile import Profile
from onboard.record.sessions import read_session
from onboard.restarts.trip_sessions import earlier_of_trip


class ReplayCoach:
    """Follows a playback, wherever it jumps.

    Parameters
    ----------
    path
        The log, or a session's folder.
    profile
        The craft.
    system_id
        MAVLink system to follow; None for the profile's, else the one that sends most.
    """

    def __init__(self, path: Path, profile: Profile, system_id: int | None = None) -> None:
        self._path, self._profile, self._system_id = path, profile, system_id
        self._following = Following()
        self._reckoning: Reckoning | None = None

    async def turn(self, playback: Playback) -> None:
        """Follow the playback; reckon the record up to its place if that is due."""
        if self._following.follow(playback.ride):
            # Perhaps a jump back, and a record is read forwards only.
            self._reckoning = None
        coaching, last_us = self._following.coaching, playback.last_us
        if coaching is None or not coaching.due or last_us is None:
            return
        if self._reckoning is None:
            earlier = earlier_of_trip(self._path, read_session(self._path))
            folders = [*reversed([*earlier]), self._path]
            self._reckoning = Reckoning(folders, self._profile, self._system_id)
        coaching.learn(await asyncio.to_thread(self._reckoning.reckon, last_us))

    def now(self) -> Coach | Unknown:
        """Return what was to be ridden at that place."""
        return self._following.now()
