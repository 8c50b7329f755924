"""The present ride, carried through a restart, a new profile, a new trip or a fault.

A ride is never repaired. It is refolded from the records, in a thread (`RefoldTask`), and takes
over once it has caught up; until then the present ride continues, or shows nothing if it failed. A
ride is refolded

- when the past has been read, if the saved state covers more than this ride began with;
- when the autopilot's clocks show that an earlier trip continues (`TripDecision`);
- after a fault of the figures, with a growing pause (`Retries`);
- with another profile.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from typing import Any

from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.parts import PARTS, PartError, Parts
from onboard.profile import Profile
from onboard.record.subscriber import Faults
from onboard.restarts.refold import Session, TimedAction, refold
from onboard.restarts.refold_task import RefoldTask
from onboard.restarts.retries import Retries
from onboard.restarts.trip_decision import TripDecision
from onboard.restarts.trip_sessions import Past, TripVerdict
from onboard.ride.ride import Ride
from onboard.telemetry.mavlink.frames import Frames

READING = Unknown(Reason.READING_RECORD)
AGAIN = Unknown(Reason.WORKING_AGAIN)
GIVEN_UP = Unknown(Reason.GIVEN_UP)

log = logging.getLogger("wattwake")


class BehindError(Exception):
    """The figures missed recorded frames; they can be recomputed from the record."""


class TripKeeper:
    """The present ride, replaced by a refolded one whenever necessary.

    Parameters
    ----------
    profile
        The craft.
    system_id
        MAVLink system to follow; None follows the profile's, else the one that sends most.
    saved
        State saved when the daemon last ran, None without.
    past
        The trip that this one may continue, None without.
    aim
        The rider's target, None without.
    start_us
        Present time by the clock of the frames' stamps [us].
    present
        Returns the session being recorded, up to a stamp [us]; None without a record.
    written
        Waits until everything recorded is in the file; returns whether it is.
    settle
        Called once, with the verdict of the autopilot's clocks on the sessions so far.
    """

    def __init__(
        self,
        profile: Profile,
        system_id: int | None = None,
        saved: dict[str, Any] | None = None,
        past: "Future[Past] | None" = None,
        aim: Aim | None = None,
        *,
        start_us: int = 0,
        present: Callable[[int], Session | None] = lambda _: None,
        written: Callable[[], bool] = lambda: True,
        settle: Callable[[TripVerdict], None] = lambda _: None,
    ) -> None:
        self.profile = profile
        self._system_id = system_id
        self._aim = aim
        self._present = present
        self._written = written
        self._settle = settle
        self._faults = Faults("the figures")
        self._retries = Retries()
        self.why_none: Unknown | None = None
        """Why there are no figures now; None if there are."""
        self._kept = saved
        """State that outlasts the ride, as of when the figures were last whole."""
        self.last_stamp_us = start_us
        """Stamp of the last frame taken in [us]."""
        self._now_s = 0.0
        self._decision = TripDecision(past) if past is not None else None
        self._begun_with = saved
        self._reading = READING if past is not None else None
        self._past_read = past is None
        self.refolding: RefoldTask | None = None
        """The refold in progress, None without."""
        self.sessions: tuple[Session, ...] = ()
        """Earlier sessions of this trip, oldest first; empty while undecided."""
        try:
            self.ride = self._begin(saved)
        except Exception as fault:
            # A placeholder without the craft's data, which shows nothing.
            self.ride = Ride(Profile(), system_id)
            self.failed(fault)

    @property
    def caught_up(self) -> bool:
        """Whether the present ride began with the charge as of the end of the last record."""
        return self._reading is None

    @property
    def is_whole(self) -> bool:
        """Whether `saved_state` describes the present: only then may it be saved.

        Otherwise the file would claim to cover everything up to now, and the rest would be lost.
        """
        return self.caught_up and self.why_none is None and not self._retries.without

    @property
    def why_hidden(self) -> Unknown | None:
        """Why no figure may be shown now; None if they may."""
        return self.why_none or self._reading

    @property
    def is_settled(self) -> bool:
        """Whether the ride is whole and nothing may soon replace it."""
        return self.why_hidden is None and self._decision is None and self.refolding is None

    def alerts(self) -> Iterator[Alert]:
        """Yield the alerts about the figures."""
        if self.why_none is AGAIN:
            yield Alert(AlertCode.FIGURES_FAILED)
        elif self.why_none is not None:
            yield Alert(AlertCode.FIGURES_GIVEN_UP, faults=self._retries.faults)
        if self._retries.without:
            without = tuple(part for part in PARTS if part in self._retries.without)
            yield Alert(AlertCode.PART_LEFT_OUT, parts=without)

    def take(self, parts: Sequence[Frames], now_us: int) -> None:
        """Fold the frames received up to now [us, by the clock of their stamps]."""
        self._now_s = now_us * 1e-6
        for frames in parts:
            if len(frames):
                self.last_stamp_us = int(frames.stamp_us[-1])
            self.add(frames)
            self._feed(self.ride.take, frames)
        self._feed(self.ride.silence, now_us)

    def add(self, part: Frames | TimedAction) -> None:
        """Queue input of the present ride for a ride that may replace it."""
        if self._decision is not None:
            self._decision.add(part)
        if self.refolding is not None:
            self.refolding.backlog.add(part)

    def _feed(self, take: Callable[[Any], None], given: Any) -> None:
        if self.why_none is None:
            try:
                take(given)
            except Exception as fault:
                self.failed(fault)

    def failed(self, fault: BaseException) -> None:
        """Record a fault of the present ride, and schedule a refold from the record."""
        self._faults.note(fault)
        pause_s = self._retries.failed(fault, self._now_s)
        self.why_none = GIVEN_UP if pause_s is None else AGAIN
        self._try_again(self.profile, pause_s)
        try:
            self.ride = self._begin(None)
        except Exception as another:
            # The failed ride stays, but yields no more figures.
            self._faults.note(another)

    def _try_again(self, profile: Profile, pause_s: float | None) -> None:
        if pause_s is None:
            log.error("the figures are given up after %d faults", self._retries.faults)
            self.refolding = None
        else:
            self._fold_again(profile, pause_s)

    def poll(self, now_s: float) -> bool:
        """Check for an earlier trip and for a finished refold; return whether the ride changed.

        Parameters
        ----------
        now_s
            The caller's monotonic clock [s].
        """
        if self.refolding is not None:
            if self.refolding.backlog.overrun:
                self._fold_again(self.refolding.profile, 0.0)
            return self.refolding.done and self._change_over(self.refolding)
        decision = self._decision
        if decision is None or self.why_none is not None or not decision.past.done():
            return False
        try:
            if self._begin_with_past(decision):
                return False
            verdict = decision.verdict(self.ride.clocks, now_s)
        except Exception as fault:
            # It stays undecided until a later start.
            self._decision, self._reading, self._past_read = None, None, True
            self._faults.note(fault)
            return False
        if verdict is not None:
            self._decision = None
            self._settle(verdict)
            if verdict.sessions:
                log.info("an earlier trip goes on: reading its records")
                profile, sessions = self.profile, verdict.sessions
                self.sessions = sessions
                self._fold_from(decision, lambda: self._refold(profile, sessions))
        return False

    def _begin_with_past(self, decision: TripDecision) -> bool:
        """Restart from the state at the last record's end; return whether that is needed."""
        if self._past_read:
            return False
        self._past_read = True
        saved = decision.past.result().saved_state
        if saved is self._begun_with:
            self._reading = None
            return False
        self._kept = self._begun_with = saved
        self._fold_from(decision, lambda: self._begin(saved))
        return True

    def _fold_from(self, decision: TripDecision, fold: Callable[[], Ride]) -> None:
        """Fold the past of this run, then the backlog since, unless that was overrun."""
        if decision.backlog.overrun:
            self._fold_again(self.profile, 0.0)
        else:
            # All of it is at hand, whatever the card does.
            self.refolding = RefoldTask(self.profile, fold, 0.0, decision.backlog.parts)

    def reload(self, profile: Profile) -> None:
        """Switch to another profile: the trip is refolded with it.

        Without a record, the figures restart from zero, except for the battery's count.
        """
        self._retries.reset()
        if self._present(self.last_stamp_us) is None:
            self.profile, self._decision, self.why_none = profile, None, None
            self.refolding = None
            self.ride = self._begin(self._charge())
            return
        self._fold_again(profile, 0.0)

    def new_trip(self) -> None:
        """Begin a trip of the same craft, with the curves learned so far and the battery as is."""
        saved = self.saved_state()
        followed = self.ride.decoder.craft.system_id
        self._retries.reset()
        self.why_none = None
        if self.refolding is not None:
            # A profile just reloaded stays in force, although the trip to refold is over.
            self.profile = self.refolding.profile
        self._begun_with = saved
        self.ride = self._begin(saved, followed)
        self._decision = self.refolding = None
        self.sessions = ()

    def saved_state(self) -> dict[str, Any] | None:
        """Return the state that outlasts this ride, as of when figures were last whole, or None."""
        if self.why_none is None and not self._retries.without:
            try:
                self._kept = {**self.ride.saved_state(), "at": {"stamp_us": self.last_stamp_us}}
            except Exception as fault:
                self._faults.note(fault)
        return self._kept

    def _charge(self) -> dict[str, Any] | None:
        """Return the initial state of a ride without a record: the battery's count alone."""
        saved = self.saved_state()
        return None if saved is None else {**saved, "curves": None}

    def _begin(
        self,
        saved: dict[str, Any] | None,
        followed: int | None = None,
        profile: Profile | None = None,
    ) -> Ride:
        system_id = self._system_id if followed is None else followed
        parts = Parts(self._retries.without, self._faults.note)
        while True:
            try:
                ride = Ride(profile or self.profile, system_id, saved, parts)
                if self._aim is not None:
                    ride.engine.set_aim(self._aim)
                return ride
            except ValueError as problem:
                if saved is None:
                    raise
                log.warning("%s: starting without what was learned", problem)
                saved = None
            except PartError as fault:
                self._faults.note(fault)
                self._retries.without.add(fault.part)
                parts.without.add(fault.part)

    def _refold(self, profile: Profile, sessions: Sequence[Session]) -> Ride:
        if not self._written():
            log.warning("the card is behind: what is not yet written is missing from the figures")
        # The initial state of a trip of several sessions lies in the folder of the first.
        begun_with, its_own = self._begun_with, len(sessions) == 1 and not self.sessions
        return refold(
            lambda saved: self._begin(begun_with if its_own else saved, profile=profile), sessions
        )

    def _fold_again(self, profile: Profile, wait_s: float) -> None:
        """Refold the records of the trip up to now, after a pause [s]."""
        present = self._present(self.last_stamp_us)
        if present is None:
            self.refolding = RefoldTask(
                profile, lambda: self._begin(self._charge(), profile=profile), wait_s
            )
        else:
            sessions = [*self.sessions, present]
            self.refolding = RefoldTask(profile, lambda: self._refold(profile, sessions), wait_s)

    def _change_over(self, refolding: RefoldTask) -> bool:
        """Switch to the refolded ride; if it failed, retry."""
        self.refolding = None
        try:
            ride = refolding.result()
        except Exception as fault:
            self._faults.note(fault)
            pause_s = self._retries.failed(fault, self._now_s)
            if pause_s is None and self.why_none is not None:
                self.why_none = GIVEN_UP
            self._try_again(refolding.profile, pause_s)
            return False
        self.ride, self.profile, self.why_none = ride, refolding.profile, None
        if self._past_read:
            self._reading = None
        return True
