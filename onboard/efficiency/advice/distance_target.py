"""A distance to cover: the speed to hold for it, the chance at the present speed, and the cue."""

import numpy as np

from onboard.block import FloatArray
from onboard.contract.advice import Cue, Stand, Standing, Target
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.speeds_ahead import SpeedsAhead
from onboard.efficiency.advice.target_speed import Advised, DistanceCue, advised_speed

NO_AIM = Unknown(Reason.NO_TARGET)


class DistanceTarget:
    """A distance [m] to cover from here on."""

    def __init__(self, distance_m: float) -> None:
        self._distance_m, self._made_m = distance_m, 0.0
        self._cue = DistanceCue()
        self.target: Target | Unknown = Unknown(Reason.TOO_LITTLE_DATA)
        """As last evaluated."""

    def fold(self, made_m: FloatArray) -> None:
        """Fold in the distances made [m], one a second, NaN where unknown; shape (n,)."""
        # Added one by one, so that the sum does not depend on how the stream was cut.
        made = np.concatenate([[self._made_m], np.nan_to_num(made_m)])
        self._made_m = float(np.add.accumulate(made)[-1])

    def evaluate(self, ahead: SpeedsAhead | Unknown, now_mps: Number) -> None:
        """Evaluate the target, and keep its cue for the hysteresis; parameters as in `state`."""
        self.target = self.state(ahead, now_mps)
        if not isinstance(self.target, Unknown):
            self._cue.keep(self.target.cue)

    def state(self, ahead: SpeedsAhead | Unknown, now_mps: Number) -> Target | Unknown:
        """Return how the ride compares with the target; the cue has hysteresis from the last one.

        Parameters
        ----------
        ahead
            The range of each speed.
        now_mps
            Speed over ground of the last seconds [m/s]; unknown at rest.
        """
        to_go_m = self._distance_m - self._made_m
        if to_go_m <= 0:
            done = Unknown(Reason.DISTANCE_MADE)
            return Target(done, done, 0.0, done, done, done, done, Stand(Standing.DISTANCE_MADE))
        if isinstance(ahead, Unknown):
            return ahead
        advised = advised_speed(ahead, to_go_m)
        chance, difference, cue = self._at_present_speed(ahead, to_go_m, advised, now_mps)
        reason = Stand(Standing.NO_CUE)
        if isinstance(advised.speed_mps, Unknown):
            best = {"best_m": advised.best_m, "best_speed_mps": advised.best_speed_mps}
            reason = Stand(Standing.CANNOT_BE_MADE, to_go_m=to_go_m, **best)
        elif not isinstance(difference, Unknown):
            reason = Stand(Standing.AGAINST_ADVISED, difference_fraction=difference)
        return Target(
            speed_mps=advised.hold_mps,
            power_w=NO_AIM,
            distance_m=to_go_m,
            wh_per_km=ahead.wh_per_km(advised.hold_mps),
            difference_fraction=difference,
            cue=cue,
            confidence_fraction=chance,
            reason=reason,
        )

    def _at_present_speed(
        self, ahead: SpeedsAhead, to_go_m: float, advised: Advised, now_mps: Number
    ) -> tuple[Number, Number, Cue | Unknown]:
        """Return the chance, the difference from the speed to hold, and the cue."""
        if isinstance(now_mps, Unknown):
            return now_mps, now_mps, now_mps
        if ahead.now is None:
            none = Unknown(Reason.TOO_LITTLE_RIDING)
            return none, none, none
        speed = float(ahead.speed_mps[ahead.now])
        chance = ahead.ranges.chance(ahead.now, to_go_m)
        best = float(ahead.speed_mps[ahead.best])
        cue = self._cue.cue(chance, speed, advised, best)
        return chance, now_mps / advised.hold_mps - 1.0, cue
