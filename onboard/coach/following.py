"""The coach of a ride: begun and ended with the rider's trial, and fed by the ride's seconds."""

from collections.abc import Callable

from onboard.coach.coaching import Coaching
from onboard.contract.coach import Coach
from onboard.contract.figure import Unknown
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.ride.ride import NO_TRIAL, Ride


class Following:
    """Follows whichever ride is shown, live or replayed."""

    def __init__(self) -> None:
        self.coaching: Coaching | None = None
        """The coach; None without a trial."""
        self._ride: Ride | None = None
        self._listener: Callable[[SettledSeconds], None] | None = None

    def follow(self, ride: Ride) -> bool:
        """Follow a ride; return whether another coaching began or ended with it.

        A ride that was folded again replaces the one before; what was ridden is then found in the
        record.
        """
        coaching, plan = self.coaching, ride.trial
        if ride is self._ride and plan == (None if coaching is None else coaching.plan):
            return False
        self._leave()
        self._ride = ride
        self.coaching = None if plan is None else Coaching(plan)
        if self.coaching is not None:
            self._listen(ride, self.coaching)
        return True

    def _listen(self, ride: Ride, coaching: Coaching) -> None:
        engine = ride.engine

        def fold(seconds: SettledSeconds) -> None:
            coaching.fold(seconds, engine.learner.setup)

        self._listener = fold
        engine.second_listeners.append(fold)

    def _leave(self) -> None:
        if self._ride is not None and self._listener in self._ride.engine.second_listeners:
            self._ride.engine.second_listeners.remove(self._listener)
        self._listener = None

    def now(self) -> Coach | Unknown:
        """Return what to ride now."""
        if self.coaching is None or self._ride is None:
            return NO_TRIAL
        engine = self._ride.engine
        return self.coaching.now(engine.learner.setup, engine.adviser.aim.power_w)
