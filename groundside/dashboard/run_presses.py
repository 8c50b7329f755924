"""Presses that start or end a run: two within seconds, or just one while the coach leads."""

import math
from collections.abc import Callable
from typing import Literal

from groundside.dashboard.content.runs import open_run
from groundside.dashboard.views.confirmation import Confirmation
from onboard.contract.coach import Coach
from onboard.contract.snapshot import Snapshot

AGAIN_S = 3.0
"""Time within which the second press counts [s]. Common practice, no source."""
SETTLES_S = 1.0
"""Time for a run to appear in a snapshot [s]: a press before that would undo the last one."""

Act = Literal["start", "end"]


class RunPresses:
    """Tells a deliberate press from spray and a bouncing thumb.

    Parameters
    ----------
    clock
        A monotonic clock [s].
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._confirmation = Confirmation(clock, AGAIN_S)
        self._acted_s = -math.inf

    @property
    def asks(self) -> str:
        """What a second press would do, in words; empty if none is awaited."""
        act = self._confirmation.pending
        return f"press again to {act} the run" if act else ""

    def pressed(self, snapshot: Snapshot) -> Act | None:
        """Return what this press does; None if nothing yet.

        Parameters
        ----------
        snapshot
            The newest snapshot.
        """
        now_s = self._clock()
        if now_s - self._acted_s < SETTLES_S:
            return None
        act: Act = "start" if open_run(snapshot) is None else "end"
        led = isinstance(snapshot.coach, Coach)
        if not led and not self._confirmation.confirmed(act):
            return None
        self._confirmation.cancel()
        self._acted_s = now_s
        return act
