"""Pacing of a replay from an absolute start, so that delays do not add up."""

from collections.abc import Callable

SPEEDS = (0.5, 1.0, 2.0, 4.0, 10.0, 20.0, 60.0, 100.0)
"""Speeds that `faster` and `slower` step through, as multiples of real time."""


class Pacing:
    """A clock for a log that can be paused and run faster or slower.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    speed
        Initial speed, as a multiple of real time.
    """

    def __init__(self, clock: Callable[[], float], speed: float) -> None:
        self._clock = clock
        self._since_s = clock()
        self._place_s = 0.0
        self.speed = speed
        self.paused = False

    def place_s(self) -> float:
        """Return the place in the log [s from its start]."""
        if self.paused:
            return self._place_s
        return self._place_s + (self._clock() - self._since_s) * self.speed

    def go_to(self, place_s: float) -> None:
        """Continue from another place [s from the log's start]; a pause is kept."""
        self._place_s, self._since_s = place_s, self._clock()

    def pause_or_go(self) -> None:
        """Pause, or resume."""
        self._settle()
        self.paused = not self.paused

    def faster(self) -> None:
        """Continue at the next higher speed."""
        self._settle()
        self.speed = next((speed for speed in SPEEDS if speed > self.speed), self.speed)

    def slower(self) -> None:
        """Continue at the next lower speed."""
        self._settle()
        self.speed = next((speed for speed in reversed(SPEEDS) if speed < self.speed), self.speed)

    def _settle(self) -> None:
        self.go_to(self.place_s())
