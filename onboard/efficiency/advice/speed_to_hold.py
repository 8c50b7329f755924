"""A speed or a battery power to hold, and the cue to it, second by second.

The cue needs neither the curve nor the battery, so it is there from the start of a timed run.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.contract.advice import Cue, Stand, Standing, Target
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.advice.distance_target import NO_AIM
from onboard.efficiency.advice.speeds_ahead import SpeedsAhead
from onboard.efficiency.advice.target import Aim
from onboard.efficiency.advice.target_speed import CueKeeper
from onboard.efficiency.common_practice import CUE_MEAN_S

LATELY = Unknown(Reason.NOT_KNOWN_LATELY)


class Hold:
    """The cue for a speed or a power to hold."""

    def __init__(self) -> None:
        self._aim = Aim()
        self._keeper = CueKeeper()
        self._past: dict[str, FloatArray] = {}
        self.difference_fraction: Number = LATELY
        """Relative difference of the last seconds' mean from the target."""
        self.cue: Cue | Unknown = LATELY

    @property
    def wanted(self) -> bool:
        """Whether there is something to hold."""
        return self._aim.power_w is not None or self._aim.speed_mps is not None

    def set_aim(self, aim: Aim) -> None:
        """Set the rider's target, from here on."""
        self._aim, self._keeper = aim, CueKeeper()
        if self.wanted and self._past:
            self._update(self._past[self._column][-1])

    def fold(self, past: dict[str, FloatArray]) -> None:
        """Fold in seconds in order.

        Parameters
        ----------
        past
            As `Trailing.fold` returns it, with `power_w` and `distance_m`.
        """
        if not len(past["power_w"]):
            return
        self._past = {
            name: past[name][-1:, -CUE_MEAN_S:].copy() for name in ("power_w", "distance_m")
        }
        if self.wanted:
            for row in past[self._column][:, -CUE_MEAN_S:]:
                self._update(row)

    def target(self, ahead: SpeedsAhead | Unknown) -> Target:
        """Return the target, with its cost where the range of each speed is known."""
        aim, difference = self._aim, self.difference_fraction
        none = Unknown(Reason.NO_DISTANCE_TARGET)
        cost: Number = none
        if aim.speed_mps is not None:
            cost = _cost(ahead, aim.speed_mps)
        reason = Stand(Standing.NO_CUE)
        if not isinstance(difference, Unknown):
            against = Standing.AGAINST_SPEED if aim.power_w is None else Standing.AGAINST_POWER
            reason = Stand(against, difference_fraction=difference)
        return Target(
            speed_mps=NO_AIM if aim.speed_mps is None else aim.speed_mps,
            power_w=NO_AIM if aim.power_w is None else aim.power_w,
            distance_m=none,
            wh_per_km=cost,
            difference_fraction=difference,
            cue=self.cue,
            confidence_fraction=none,
            reason=reason,
        )

    @property
    def _column(self) -> str:
        return "power_w" if self._aim.power_w is not None else "distance_m"

    def _update(self, row: FloatArray) -> None:
        """Update the cue from the last `CUE_MEAN_S` seconds, at least half of them known."""
        known = row[np.isfinite(row)]
        if len(known) * 2 < CUE_MEAN_S:
            self.difference_fraction = self.cue = LATELY
            return
        wanted = self._aim.power_w if self._aim.power_w is not None else self._aim.speed_mps
        assert wanted is not None
        difference = float(known.mean()) / wanted - 1.0
        self.difference_fraction, self.cue = difference, self._keeper.fold(difference)


def _cost(ahead: SpeedsAhead | Unknown, speed_mps: float) -> Number:
    """Return the consumption at a speed [Wh/km]; a single row is no curve."""
    if isinstance(ahead, Unknown) or len(ahead.speed_mps) == 1:
        return Unknown(Reason.NO_CURVE)
    return ahead.wh_per_km(speed_mps)
