"""A ride refolded from its records, in a thread, while the link is read."""

import asyncio
from collections.abc import Callable, Iterable

from onboard.profile import Profile
from onboard.restarts.backlog import Backlog, feed
from onboard.restarts.refold import TimedAction
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import Frames

LAST_PARTS = 5
"""Parts left to the caller at most: a second of frames."""

BACKLOG_MOST_FRAMES = 200_000
"""If more frames than this come in while the records are read, they are read again, with these."""


class RefoldTask:
    """One attempt to refold.

    Parameters
    ----------
    profile
        Profile to fold with.
    fold
        Folds the records; called in a thread.
    wait_s
        Pause before it [s].
    parts
        Frames and actions since the end of the records, in order.
    """

    def __init__(
        self,
        profile: Profile,
        fold: Callable[[], Ride],
        wait_s: float,
        parts: Iterable[Frames | TimedAction] = (),
    ) -> None:
        self.profile = profile
        self.backlog = Backlog(BACKLOG_MOST_FRAMES, parts)
        """Frames and actions that came in since."""
        self.folding = False
        """Whether the pause is over."""
        self.task = asyncio.ensure_future(self._run(fold, wait_s))
        # One that is dropped, by a new trip or the daemon's end, may fail unheeded.
        self.task.add_done_callback(_retrieve)

    @property
    def done(self) -> bool:
        """Whether the attempt is over, successful or not."""
        return self.task.done()

    def result(self) -> Ride:
        """Return the ride, updated to now.

        Raises
        ------
        Exception
            The fault that made it fail.
        """
        ride = self.task.result()
        feed(ride, self.backlog.take_all())
        return ride

    async def _run(self, fold: Callable[[], Ride], wait_s: float) -> Ride:
        await asyncio.sleep(wait_s)
        self.folding = True
        ride = await asyncio.to_thread(fold)
        # In the thread as well: on a slow board a minute of frames would block the feed.
        while len(self.backlog.parts) > LAST_PARTS:
            await asyncio.to_thread(feed, ride, self.backlog.take_all())
        return ride


def _retrieve(task: asyncio.Task[Ride]) -> None:
    """Take the fault of a task, which asyncio otherwise logs when the task is collected."""
    if not task.cancelled():
        task.exception()
