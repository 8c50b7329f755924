"""The coach: settled seconds, set-ups and reckonings in, the next step out.

No clock, no input or output: stream time is an argument. The steps of a straight run are

    START ──straight──> SETTLE ──> HOLD ──> TURN ──turned──> BACK ──straight──> SETTLE ──> HOLD
      ^ └──────────── turned, or power changed ─┘                     SWAP, TURN or ENOUGH <─┘

and of a lap: START_LAP, LAP, then SWAP or LAP again. RECKONING is between the last run of an order
and what the record says of it. Which set-up is next is told by `Order`; a rider who takes another
one of those ahead is followed. What the coach saw itself counts at once, so that the next step is
there in time; the record has the last word (`RunBook`).
"""

import math

from onboard.coach.lap_riding import LapRiding
from onboard.coach.order import Order
from onboard.coach.practice import (
    BACK_DEG,
    HOLD_S,
    OFF_POWER_FRACTION,
    OFF_POWER_MEAN_S,
    RECKON_AFTER_S,
    RECKON_AGAIN_S,
    SETTLE_S,
)
from onboard.coach.ridden import Ridden, RunBook
from onboard.coach.stretch import Second, StraightRiding, Stretch, apart_deg
from onboard.contract.coach import Coach, Step, StepCode, TrialStanding
from onboard.contract.commands import TrialPlan
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.dataclass import dataclass
from onboard.efficiency.meters.steadiness import STRETCH_LEAST_S
from onboard.efficiency.sources.settled_seconds import SettledSeconds

NOT_RECKONED = Unknown(Reason.NOT_RECKONED)


@dataclass(frozen=True)
class Reckoned:
    """What the record shows.

    Parameters
    ----------
    until_s
        Stream time up to which it was read [s].
    runs
        The runs in it, in order.
    standing
        The comparison.
    order
        Set-ups to ride next, in order, as the comparison proposes.
    """

    until_s: float
    runs: tuple[Ridden, ...]
    standing: TrialStanding | Unknown
    order: tuple[str, ...] = ()


class Coaching:
    """The coach of one trial.

    Parameters
    ----------
    plan
        The trial as the rider named it.
    """

    def __init__(self, plan: TrialPlan) -> None:
        self.plan = plan
        self._straight, self._lap = StraightRiding(), LapRiding()
        self._book, self._order = RunBook(), Order(plan.setups)
        self._standing: TrialStanding | Unknown = NOT_RECKONED
        self._proposed: tuple[str, ...] = ()
        self._due_s: float | None = -math.inf
        self._setup: str | None = None
        self._chosen = False
        """Whether the rider chose the present set-up since the last run was counted."""
        self._noted: Stretch | None = None
        """The present stretch, once it counts as a run."""
        self._t_s = -math.inf
        self._shown: tuple[tuple[str, float | None], Coach] | None = None
        self._unknown = False
        """Whether power or speed is unknown now."""

    @property
    def due(self) -> bool:
        """Whether the record is to be reckoned now."""
        return self._due_s is not None and self._t_s >= self._due_s

    def fold(self, seconds: SettledSeconds, setup: str) -> None:
        """Fold settled seconds, ridden with a set-up."""
        self._shown = None
        if setup != self._setup:
            self._change(setup)
        columns = (seconds.t_s, seconds.power_w, seconds.east_mps, seconds.north_mps)
        for row in zip(*(column.tolist() for column in columns), strict=True):
            second = Second(*row)
            self._t_s, self._unknown = second.t_s, not second.is_known
            if self.plan.kind == "laps":
                self._fold_lap(second, setup)
            else:
                self._fold_straight(second, setup)

    def _change(self, setup: str) -> None:
        if self._setup is not None:
            self._reckon_at(self._t_s)
        self._setup, self._chosen = setup, True
        self._straight, self._lap = StraightRiding(), LapRiding()
        self._noted = None

    def _fold_lap(self, second: Second, setup: str) -> None:
        lap = self._lap.fold(second)
        if lap is not None:
            self._see(Ridden(setup, lap.start_s, lap.end_s, 0.0, is_lap=True))
            self._reckon_at(lap.end_s + RECKON_AFTER_S)

    def _fold_straight(self, second: Second, setup: str) -> None:
        ended, now = self._straight.fold(second), self._straight.now
        if ended is not None and ended.ridden_s >= STRETCH_LEAST_S:
            self._reckon_at(ended.end_s + RECKON_AFTER_S)
        if now is not self._noted:
            self._noted = None
        if now is not None and self._noted is None and now.ridden_s >= SETTLE_S + HOLD_S:
            self._noted = now
            self._see(Ridden(setup, now.start_s, now.end_s, now.course_deg))

    def _see(self, run: Ridden) -> None:
        before = self._book.counts()
        self._book.see(run)
        if self._book.counts() != before:
            self._chosen = False

    def _reckon_at(self, t_s: float) -> None:
        self._due_s = t_s if self._due_s is None else max(t_s, self._due_s)

    def mark(self) -> None:
        """Ask for a reckoning: the rider marked something by hand."""
        self._reckon_at(self._t_s + RECKON_AFTER_S)

    def learn(self, reckoned: Reckoned) -> None:
        """Take what the record shows; it is read again if it did not reach far enough."""
        self._shown = None
        self._book.find(reckoned.runs, reckoned.until_s)
        self._standing, self._proposed = reckoned.standing, reckoned.order
        if self._due_s is not None and self._t_s >= self._due_s:
            wanted_s = self._due_s - RECKON_AFTER_S / 2.0
            reached = reckoned.until_s >= wanted_s
            self._due_s = None if reached else self._t_s + RECKON_AGAIN_S

    def never(self, why: Unknown) -> None:
        """Go on without reckonings."""
        self._shown = None
        self._standing, self._due_s = why, None
        self._book.trust()

    def now(self, setup: str, target_w: float | None) -> Coach:
        """Return what to ride now.

        Parameters
        ----------
        setup
            Label of the set-up in use.
        target_w
            The battery power to hold; None if not set.
        """
        asked = setup, target_w
        if self._shown is None or self._shown[0] != asked:
            # Five snapshots a second show what changes once a second.
            self._shown = asked, self._now(setup, target_w)
        return self._shown[1]

    def _now(self, setup: str, target_w: float | None) -> Coach:
        counts, standing = self._book.counts(), self._standing
        drop = () if isinstance(standing, Unknown) else standing.drop
        ahead = self._order.ahead(counts, drop)
        enough = self._enough(standing, counts)
        if not ahead and not enough and self._due_s is None and not self._book.unsure:
            self._order.go_on(counts, self._proposed)
            ahead = self._order.ahead(counts, drop)
        if self._chosen and setup in ahead:
            place = ahead.index(setup)
            ahead = (setup, *ahead[:place], *ahead[place + 1 :])
        elif self._book.way_out(setup) is not None and setup in self.plan.setups and ahead:
            place = ahead.index(setup) if setup in ahead else len(ahead)
            ahead = (setup, *ahead[:place], *ahead[place + 1 :])
        return Coach(
            kind=self.plan.kind,
            setups=self.plan.setups,
            runs=tuple(counts[one] for one in self.plan.setups),
            step=enough or self._step(setup, ahead, target_w),
            ahead=() if enough else ahead,
            standing=standing,
        )

    def _enough(self, standing: TrialStanding | Unknown, counts: dict[str, int]) -> Step | None:
        """Return the last step; None if there is more to ride."""
        if isinstance(standing, Unknown) or not standing.enough:
            return None
        if not all(counts[setup] for setup in self.plan.setups) or not standing.places:
            return None
        best = tuple(place.setup for place in standing.places if place.group == 0)
        if len(best) == 1:
            return Step(StepCode.ENOUGH, setup=best[0])
        return Step(StepCode.ENOUGH_ALIKE, setups=best)

    def _step(self, setup: str, ahead: tuple[str, ...], target_w: float | None) -> Step:
        if ahead and setup != ahead[0]:
            return Step(StepCode.SWAP, setup=ahead[0])
        if self._unknown:
            return Step(StepCode.NO_DATA)
        if not ahead and self._noted is None:
            # A run that is still going on ends with its turn: before that there is none to reckon.
            return Step(StepCode.RECKONING)
        if self.plan.kind == "laps":
            return self._lap_step(target_w)
        return self._straight_step(setup, target_w)

    def _straight_step(self, setup: str, target_w: float | None) -> Step:
        way_out, now = self._book.way_out(setup), self._straight.now
        if self._noted is not None:
            return Step(StepCode.TURN, settle_s=SETTLE_S)
        if way_out is not None:
            back_deg = (way_out.course_deg + 180.0) % 360.0
            if now is None or abs(apart_deg(now.course_deg, back_deg)) > BACK_DEG:
                return Step(StepCode.BACK, course_deg=back_deg)
        if now is None:
            return Step(StepCode.START, target_w=target_w)
        off = self._off_power(now.seconds, target_w)
        if off is not None:
            return off
        left_s = SETTLE_S - now.ridden_s
        if left_s > 0:
            return Step(StepCode.SETTLE, target_w=target_w, left_s=left_s)
        return Step(StepCode.HOLD, target_w=target_w, left_s=left_s + HOLD_S)

    def _lap_step(self, target_w: float | None) -> Step:
        lap = self._lap.now
        if lap is None:
            return Step(StepCode.START_LAP, target_w=target_w)
        off = self._off_power(lap.seconds, target_w)
        if off is not None:
            return off
        course_m = self._lap.course_m
        left = None if course_m is None else max(0.0, 1.0 - lap.length_m / course_m)
        return Step(StepCode.LAP, target_w=target_w, left_fraction=left)

    def _off_power(self, seconds: int, target_w: float | None) -> Step | None:
        recent = self._lap.recent if self.plan.kind == "laps" else self._straight.recent
        now_w = recent.power_w
        if target_w is None or seconds < OFF_POWER_MEAN_S:
            return None
        if not abs(now_w / target_w - 1.0) > OFF_POWER_FRACTION:
            return None
        return Step(StepCode.OFF_POWER, now_w=now_w, target_w=target_w)
