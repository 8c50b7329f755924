"""A ride that is folded again from its records, in a thread, while the link is read."""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from onboard.profile import Profile
from onboard.restarts.rejoin import Said
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import Frames

CAUGHT_UP = 5
"""No more parts than this are left to the caller: a second of frames."""

HELD_MOST_FRAMES = 200_000
"""If more than this comes in while the records are read, they are read again, with that in them."""


def catch_up(ride: Ride, parts: Sequence[Frames | Said]) -> None:
    """Return a ride the frames that came in, and what was said in between."""
    for part in parts:
        if isinstance(part, Frames):
            ride.take(part)
        else:
            part.apply(ride)


@dataclass
class Refolding:
    """One attempt.

    Parameters
    ----------
    profile
        What the ride is folded with.
    held
        Frames, and what was said, since the end of the records, in order.
    """

    profile: Profile
    held: list[Frames | Said] = field(default_factory=list)
    frames: int = 0
    folding: bool = False
    """Whether the pause is over."""
    task: "asyncio.Future[Ride] | None" = None

    def begin(self, fold: Callable[[], Ride], wait_s: float) -> None:
        """Begin to fold, after a pause [s]."""
        self.task = asyncio.ensure_future(self._folded(fold, wait_s))

    def hold(self, part: Frames | Said) -> None:
        """Keep what came in or was said since."""
        self.held.append(part)
        if isinstance(part, Frames):
            self.frames += len(part)

    @property
    def overrun(self) -> bool:
        """Whether more has come in meanwhile than can be kept."""
        return self.frames > HELD_MOST_FRAMES

    @property
    def done(self) -> bool:
        """Whether the attempt is over, successful or not."""
        return self.task is not None and self.task.done()

    def result(self) -> Ride:
        """Return the ride, brought up to now.

        Raises
        ------
        Exception
            What made it fail.
        """
        assert self.task is not None
        ride = self.task.result()
        catch_up(ride, self.held)
        return ride

    async def _folded(self, fold: Callable[[], Ride], wait_s: float) -> Ride:
        await asyncio.sleep(wait_s)
        self.folding = True
        ride = await asyncio.to_thread(fold)
        # In the thread as well: on a slow board a minute of frames would hold up the feed.
        while len(self.held) > CAUGHT_UP:
            parts, self.held, self.frames = self.held, [], 0
            await asyncio.to_thread(catch_up, ride, parts)
        return ride
