"""A rate limit that allows bursts."""


class TokenBucket:
    """Allow events at a steady rate, and a burst of them after a pause.

    Parameters
    ----------
    burst
        Capacity: events allowed at once.
    per_s
        Refill rate [1/s].

    Examples
    --------
    >>> bucket = TokenBucket(2.0, 1.0)
    >>> [bucket.take(0.0), bucket.take(0.0), bucket.take(0.5), bucket.take(1.0)]
    [True, True, False, True]
    """

    def __init__(self, burst: float, per_s: float) -> None:
        self._burst, self._per_s, self._tokens = burst, per_s, burst
        self._refilled_s: float | None = None

    def has_room(self, now_s: float, cost: float = 1.0) -> bool:
        """Return whether an event of this cost is allowed now [s]."""
        elapsed_s = 0.0 if self._refilled_s is None else max(now_s - self._refilled_s, 0.0)
        self._refilled_s = now_s
        self._tokens = min(self._tokens + elapsed_s * self._per_s, self._burst)
        return self._tokens >= cost

    def take(self, now_s: float, cost: float = 1.0) -> bool:
        """Return whether an event of this cost is allowed now [s], and if so count it."""
        if not self.has_room(now_s, cost):
            return False
        self._tokens -= cost
        return True
