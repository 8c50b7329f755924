"""Remembers for which trip the caution was read, even if the viewer is restarted.

A trip has no name. It is known by its start, now less its elapsed time: the caution was read for
this trip if it was read after the start. A gap that the craft's clock did not count makes the start
seem later; the caution is then shown once more, which does no harm.
"""

import time
from collections.abc import Callable

from groundside.connection.preferences import Preferences
from groundside.dashboard.view_state import ViewState
from onboard.contract.figure import Unknown

NAME = "caution_read"
DAY_S = 12 * 3600.0
"""Time after which it is shown again, even in the same trip [s]. Common practice, no source."""
LATE_S = 2.0
"""How much later a trip may seem to have started, as sums are up to a second old [s]."""
FELL_S = 30.0
"""Fall in a trip's elapsed time that reveals a new trip [s]. Common practice, no source."""


class CautionMemory:
    """Whether the caution is to be shown.

    Parameters
    ----------
    preferences
        Where it is kept when the caution was read; `Preferences(None)` keeps it in memory.
    wall_clock
        Seconds since 1970 [s]: a monotonic clock means nothing to the next process.
    """

    def __init__(
        self, preferences: Preferences, *, wall_clock: Callable[[], float] = time.time
    ) -> None:
        self._preferences = preferences
        self._wall_clock = wall_clock
        self._read = False
        self._stored = False
        self._looked = False
        self._most_s = 0.0

    def was_read(self) -> None:
        """Note that the rider has read the caution; it is stored once the trip is known."""
        self._read, self._stored = True, False

    def stands(self, state: ViewState) -> bool:
        """Return whether the caution is to be shown; called at every tick.

        Parameters
        ----------
        state
            The present state. For a replay nothing is stored: its trip was long ago.
        """
        elapsed_s = state.snapshot.trip.elapsed_s
        if not state.started or state.replay is not None or isinstance(elapsed_s, Unknown):
            return not self._read
        now_s = self._wall_clock()
        if elapsed_s < self._most_s - FELL_S:
            self._read = False  # a new trip
        self._most_s = elapsed_s
        if not self._looked:
            self._looked = True
            if not self._read and self._was_read_before(now_s, elapsed_s, state.source):
                self._read = self._stored = True
        if self._read and not self._stored:
            self._preferences.put(NAME, f"{int(now_s)} {state.source}")
            self._stored = True
        return not self._read

    def _was_read_before(self, now_s: float, elapsed_s: float, source: str) -> bool:
        """Return whether the caution was read in a viewer of this source after the trip started."""
        text, _, of = (self._preferences.get(NAME) or "").partition(" ")
        try:
            at_s = float(text)
        except ValueError:
            return False
        began_s = now_s - elapsed_s - LATE_S
        return of == source and max(began_s, now_s - DAY_S) <= at_s <= now_s
