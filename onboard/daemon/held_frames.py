"""Frames held back until the next fold, and the newest readings among them meanwhile."""

from collections.abc import Sequence

from onboard.record.subscriber import Faults
from onboard.ride.newest import Newest
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import Frames, end_to_end


class HeldFrames:
    """The frames since the last fold."""

    def __init__(self) -> None:
        self.faults = Faults("the newest readings")
        self.count = 0
        """Number of frames held."""
        self._parts: list[Frames] = []
        self._ride: Ride | None = None
        self._newest: Newest | None = None
        self._came = 0

    @property
    def newest(self) -> Newest | None:
        """The newest readings; None where only a fold can tell them."""
        newest = self._newest
        return None if newest is None or newest.in_doubt else newest

    @property
    def is_reading(self) -> bool:
        """Whether the newest readings are read from what comes in."""
        return self._newest is not None

    def take_came(self) -> bool:
        """Return whether messages of the followed craft came since the last call."""
        newest = self._newest
        came = newest is not None and newest.came > self._came
        self._came = newest.came if newest is not None else 0
        return came

    def add(self, parts: Sequence[Frames], watched: bool) -> None:
        """Hold frames back; while somebody watches, read the newest readings from them."""
        for frames in parts:
            if len(frames) or frames.bad_bytes:
                self._parts.append(frames)
                self.count += len(frames)
        if not watched:
            self._newest = None
        elif self._newest is not None:
            self._read(parts)

    def take(self) -> list[Frames]:
        """Return all frames held, as one stretch."""
        parts, self._parts, self.count = self._parts, [], 0
        return [end_to_end(parts)] if parts else []

    def folded(self, ride: Ride, parts: Sequence[Frames], silent_s: float) -> None:
        """Begin again from a fold.

        Parameters
        ----------
        ride
            The ride into which the frames were folded.
        parts
            The frames folded.
        silent_s
            Time since the last message of the craft [s].
        """
        if ride.decoder.craft.system_id is None:
            self._newest = None
            return
        if self._newest is None or ride is not self._ride:
            self._ride, self._newest = ride, Newest(ride.sensors)
            self._read(parts)
        if self._newest is not None:
            self._came = 0
            try:
                self._newest.restart(ride, silent_s)
            except Exception as fault:
                self._failed(fault)

    def _read(self, parts: Sequence[Frames]) -> None:
        assert self._newest is not None
        assert self._ride is not None
        craft = self._ride.decoder.craft
        assert craft.system_id is not None
        try:
            for frames in parts:
                self._newest.read(frames, craft.system_id, craft.component_id)
        except Exception as fault:
            self._failed(fault)

    def _failed(self, fault: Exception) -> None:
        """Note a fault; without the newest readings, every tick folds."""
        self.faults.note(fault)
        self._newest = None
