"""The ride of now, and what keeps it whole: over a restart, a new profile, and a new trip."""

import asyncio
import logging
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from onboard.efficiency.target import Aim
from onboard.profile import Profile
from onboard.rejoin import Rejoin, Said, Session, last_clocks, refold
from onboard.ride import Ride
from onboard.telemetry.frames import Frames

WRITTEN_AFTER_S = 2.0
"""By then what came is on the card, or never will be."""

log = logging.getLogger("wattwake")


@dataclass
class _Again:
    """A ride that is being folded from its records, and what came since that began."""

    task: "asyncio.Future[Ride]"
    profile: Profile
    held: list[Frames | Said] = field(default_factory=list)


class TripKeeper:
    """Holds the ride; folds it anew from the records when it must be another one.

    Parameters
    ----------
    profile
        The craft.
    system_id
        The MAVLink system to follow; None follows the profile's, else the one that sends most.
    kept
        What was kept when the daemon last ran, None without.
    earlier
        Sessions of the trip that went on then, oldest first.
    aim
        What the rider wants, None without.
    """

    def __init__(
        self,
        profile: Profile,
        system_id: int | None = None,
        kept: dict[str, Any] | None = None,
        earlier: Sequence[Session] = (),
        aim: Aim | None = None,
    ) -> None:
        self.profile = profile
        self._system_id = system_id
        self._aim = aim
        self.ride = self._begin(kept)
        self._earlier = list(earlier)
        self._rejoin = None
        if earlier:
            self._rejoin = Rejoin(last_clocks(earlier[-1].folder, system_id))
        self._again: _Again | None = None
        self.went_on = False
        """Whether the trip is one that began before this run of the daemon."""

    @property
    def sessions(self) -> tuple[Session, ...]:
        """The earlier sessions of this trip, oldest first; none while that is not known."""
        return tuple(self._earlier) if self.went_on else ()

    def take(self, frames: Frames, now_us: int) -> None:
        """Take in what came up to now [us, by the clock of the frames' stamps]."""
        self.ride.take(frames)
        self.ride.silence(now_us)
        if self._rejoin is not None:
            self._rejoin.take(frames)
        if self._again is not None:
            self._again.held.append(frames)

    def say(self, said: Said) -> None:
        """Note what was said to the ride of now: another that takes its place hears it too."""
        for other in (self._rejoin, self._again):
            if other is not None:
                other.held.append(said)

    def poll(self, now_s: float) -> bool:
        """Look whether the trip is one from before, or a ride is folded; tell if the ride changed.

        Parameters
        ----------
        now_s
            The caller's monotonic clock [s].
        """
        if self._again is not None:
            return self._again.task.done() and self._change_over(self._again)
        if self._rejoin is None:
            return False
        same = self._rejoin.verdict(self.ride.clocks, now_s)
        if same is None:
            return False
        rejoin, self._rejoin = self._rejoin, None
        if same:
            log.info("the trip goes on from before: reading its records")
            self.went_on = True
            self._fold_again(self.profile, self._earlier, rejoin.held)
        return False

    def reload(self, profile: Profile, current: Session | None) -> None:
        """Go on with another profile: the trip is folded anew with it.

        Parameters
        ----------
        profile
            The profile.
        current
            The session that is being recorded, up to the newest frame taken in; None where there is
            none: then the figures begin anew, but for the battery's count.
        """
        if current is None:
            self.profile, self._rejoin = profile, None
            self.ride = self._begin({**self.ride.kept(), "curves": None})
            return
        self._fold_again(profile, [*self.sessions, current], [], WRITTEN_AFTER_S)

    def new_trip(self) -> None:
        """Begin a trip of the same craft, with the curves learned so far and the battery as is."""
        self.ride = self._begin(self.ride.kept(), self.ride.decoder.craft.system_id)
        self._rejoin = self._again = None
        self.went_on = False

    def _begin(self, kept: dict[str, Any] | None, followed: int | None = None) -> Ride:
        system_id = self._system_id if followed is None else followed
        try:
            ride = Ride(self.profile, system_id, kept)
        except ValueError as problem:
            log.warning("%s: starting without what was learned", problem)
            ride = Ride(self.profile, system_id)
        if self._aim is not None:
            ride.engine.set_aim(self._aim)
        return ride

    def _fold_again(
        self,
        profile: Profile,
        sessions: Sequence[Session],
        held: Sequence[Frames | Said],
        wait_s: float = 0.0,
    ) -> None:
        async def folded() -> Ride:
            await asyncio.sleep(wait_s)
            return await asyncio.to_thread(refold, profile, self._system_id, sessions)

        self._again = _Again(asyncio.ensure_future(folded()), profile, list(held))

    def _change_over(self, again: _Again) -> bool:
        """Go on with the ride that was folded; if that failed, with the one of now."""
        self._again = None
        problem = again.task.exception()
        if problem is not None:
            log.error("the records could not be folded again", exc_info=problem)
            return False
        ride = again.task.result()
        for part in again.held:
            if isinstance(part, Frames):
                ride.take(part)
            else:
                part.apply(ride)
        if self._aim is not None and not ride.engine.adviser.aim.is_set:
            ride.engine.set_aim(self._aim)
        self.ride, self.profile = ride, again.profile
        return True
