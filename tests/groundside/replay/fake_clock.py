"""Time for replays without waiting."""


class FakeClock:
    """A clock that only advances by sleeping."""

    def __init__(self) -> None:
        self.now_s = 50.0

    def __call__(self) -> float:
        return self.now_s

    async def sleep(self, seconds_s: float) -> None:
        self.now_s += seconds_s
