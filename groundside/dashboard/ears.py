"""When the dashboard rings the terminal's bell.

A state is compared with what was last heard, not with the state before it. So a change within a
second of another sound waits for that second to pass, and is dropped if it is gone by then.
"""

import math

from groundside.dashboard.sounds import Sounds
from groundside.dashboard.view_state import ViewState
from onboard.contract.alerts import AlertCode
from onboard.contract.figure import Unknown

FOR_A_CUE, FOR_DANGER = 1, 2
"""Number of bells."""
LEAST_S = 1.0
"""Least time between two sounds [s]. Common practice, no source."""
SOUGHT_S = 3.0
"""Step of a replay against the clock from which it has jumped [s]: many ticks of 0.2 s."""


class Ears:
    """What a rider has heard so far."""

    def __init__(self) -> None:
        self._cue = ""
        self._dangers: frozenset[AlertCode] = frozenset()
        self._since_s = -math.inf
        self._began = False
        self._place_s: tuple[float, float] | None = None

    def bells(self, state: ViewState, choice: Sounds) -> int:
        """Return the number of bells to ring now: 1 for a changed cue, 2 for a danger, else 0.

        What stands at the start is not new. A replay is heard only while it plays at its own pace.

        Parameters
        ----------
        state
            The present state, passed at every tick.
        choice
            What the rider wants to hear.
        """
        if not state.started or state.stale:
            return 0
        cue, dangers = _cue(state), _dangers(state)
        self._dangers &= dangers  # one that has gone is new when it comes back
        silent = not self._began or choice == "off" or not self._is_heard(state)
        if not silent and state.now_s - self._since_s < LEAST_S:
            return 0
        new_danger = not dangers <= self._dangers
        new_cue = choice == "all" and bool(cue) and cue != self._cue
        self._began, self._dangers, self._cue = True, dangers, cue or self._cue
        if silent or not (new_danger or new_cue):
            return 0
        self._since_s = state.now_s
        return FOR_DANGER if new_danger else FOR_A_CUE

    def _is_heard(self, state: ViewState) -> bool:
        """Return whether a state can be heard: live, or a replay that plays at its own pace."""
        replay, before = state.replay, self._place_s
        self._place_s = None if replay is None else (replay.t_s, state.now_s)
        if replay is None:
            return True
        if replay.stands_still or replay.speed != 1.0 or before is None:
            return False
        return abs((replay.t_s - before[0]) - (state.now_s - before[1])) < SOUGHT_S


def _cue(state: ViewState) -> str:
    """Return the cue against the target; empty if there is none."""
    target = state.snapshot.target
    if isinstance(target, Unknown) or isinstance(target.cue, Unknown):
        return ""
    return target.cue


def _dangers(state: ViewState) -> frozenset[AlertCode]:
    """Return the present dangers, including that it is time to turn back."""
    home = state.snapshot.home
    turn = not isinstance(home, Unknown) and home.turn_back is True
    codes = {alert.code for alert in state.snapshot.alerts if alert.level == "danger"}
    return frozenset(codes | {AlertCode.TURN_BACK} if turn else codes)
