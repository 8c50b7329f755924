"""The rhythm of the daemon: how often it wakes up, and when the figures are folded.

Waking up costs more than what is done then, and a fold costs the same for a fifth of a second of
telemetry as for a whole one. So what has come in is recorded at every tick, and folded once a
second; in between, viewers get the newest readings (`onboard/ride/newest.py`). Where nobody
watches, ticks and folds are rarer still. The figures do not depend on any of this: they are the
same for every partition of the stream.
"""

import math

TICK_S = 0.2
"""Interval of ticks while somebody watches [s]: that of the snapshots."""

ALONE_TICK_S = 0.8
"""Interval of ticks while nobody does [s]; each brings an append to the record, which with a viewer
every fourth tick does."""

READ_MOST_S = 0.4
"""Longest interval of reads of the link [s], so that its thread does not take the daemon's loop for
late."""

AFTER_READ_S = 0.01
"""Delay of a tick behind the read of the link [s]."""

FOLD_EVERY_S = 1.0
"""Interval of folds [s]: sums are at most this old, and an alert is shown at most this late."""

ALONE_FOLD_EVERY_S = 4.0
"""Interval of folds while nobody watches [s]; a viewer that comes brings one at once."""

HELD_MOST_FRAMES = 2_000
"""Frames held back for a fold at most: those of a busy link in four seconds."""


class Rhythm:
    """Decides when to fold."""

    def __init__(self) -> None:
        self._folded_s = -math.inf
        self._soon = True

    def fold_soon(self) -> None:
        """Let the next tick fold."""
        self._soon = True

    def folded(self, now_s: float) -> None:
        """Note a fold at a time of the monotonic clock [s]."""
        self._folded_s, self._soon = now_s, False

    def fold_due(self, now_s: float, watched: bool, held_frames: int) -> bool:
        """Return whether a fold is due.

        Parameters
        ----------
        now_s
            Monotonic clock [s].
        watched
            Whether there is a viewer.
        held_frames
            Frames held back since the last fold.
        """
        every_s = FOLD_EVERY_S if watched else ALONE_FOLD_EVERY_S
        # Ticks come a little early or late: the one nearest to the due time folds.
        due_s = self._folded_s + every_s - TICK_S / 2
        return self._soon or now_s >= due_s or held_frames >= HELD_MOST_FRAMES


def read_s(watched: bool) -> float:
    """Return the interval of reads of the link [s]."""
    return min(_tick_s(watched), READ_MOST_S)


def next_tick_s(now_s: float, watched: bool) -> float:
    """Return the time of the next tick [s].

    Ticks are at multiples of their interval, so that late wake-ups do not add up, and a moment
    after the thread that reads the link, which pauses up to such multiples, too.

    Examples
    --------
    >>> round(next_tick_s(7.05, watched=True), 3), round(next_tick_s(7.05, watched=False), 3)
    (7.21, 7.21)
    >>> round(next_tick_s(7.205, watched=False), 3)
    8.01
    """
    every_s = _tick_s(watched)
    return (math.floor((now_s - AFTER_READ_S) / every_s + 0.05) + 1) * every_s + AFTER_READ_S


def _tick_s(watched: bool) -> float:
    return TICK_S if watched else ALONE_TICK_S
