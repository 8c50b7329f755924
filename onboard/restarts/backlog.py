"""Queue of frames and actions that arrive while a ride is refolded: in order and bounded."""

from collections.abc import Iterable

from onboard.restarts.refold import TimedAction
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import Frames


class Backlog:
    """Frames, and the actions between them.

    Parameters
    ----------
    most_frames
        Largest number of frames. If more come in, all are dropped: they must be read from the card.
    parts
        Initial content, not counted.
    """

    def __init__(self, most_frames: int, parts: Iterable[Frames | TimedAction] = ()) -> None:
        self.parts = list(parts)
        self._most_frames, self._frames = most_frames, 0

    @property
    def overrun(self) -> bool:
        """Whether the bound was exceeded."""
        return self._frames > self._most_frames

    def add(self, part: Frames | TimedAction) -> None:
        """Append frames or an action."""
        if isinstance(part, Frames):
            self._frames += len(part)
        self.parts.append(part)
        if self.overrun:
            self.parts.clear()

    def take_all(self) -> list[Frames | TimedAction]:
        """Remove and return everything."""
        parts, self.parts, self._frames = self.parts, [], 0
        return parts


def feed(ride: Ride, parts: Iterable[Frames | TimedAction]) -> None:
    """Feed a ride with frames, and the actions between them."""
    for part in parts:
        if isinstance(part, Frames):
            ride.take(part)
        else:
            part.apply(ride)
