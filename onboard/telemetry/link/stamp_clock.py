"""The clock that stamps received bytes."""

import time


class StampClock:
    """Wall clock at the start plus monotonic time since [us]: never stepped."""

    def __init__(self) -> None:
        self.start_us = time.time_ns() // 1000 & ~3
        self._start_ns = time.monotonic_ns()

    def __call__(self) -> int:
        """Return the time now [us since the Unix epoch], the low two bits clear."""
        return self.start_us + (time.monotonic_ns() - self._start_ns) // 1000 & ~3
