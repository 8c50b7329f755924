"""Schedule of evaluating advice and the alerts that depend on it.

State. The advice to turn back, the cue for a distance and the alerts have hysteresis: their present
state depends on earlier evaluations, so the times of these must be a function of the stream alone.
`AdviceSchedule` fixes them. Stateless advice (ranges, best speed, the figures of target and way
home) is evaluated only when a snapshot asks for it: `Adviser.advice`.

Multiples of ten seconds. Evaluations fall on stream times that are multiples of
`ADVICE_EVERY_S`, and the engine cuts its settled seconds there (`seconds_until_due`). So live
blocks of a fifth of a second and a review's blocks of an hour evaluate at the same seconds, with
the same data: a replay proves what the rider saw. A daemon that joins a running stream evaluates on
the same grid.

The pause follows from the margin. An evaluation costs an outlook over all speeds, too much for a
small board every second, and usually nothing is imminent. Each evaluation predicts the quiet time
before anything can be due, from the energy that must be drawn first:

- the way home: energy to spare, over the power drawn now (at least that of the way home) plus the
  power of the way home, which grows meanwhile (`Adviser.evaluate`);
- energy low or reserve reached: energy left above the threshold, over the present power, at least
  `ADVICE_LEAST_W`, as a craft at rest may be off the next moment.

The next evaluation comes after `ADVICE_QUIET_SHARE` of that time: an alert is late only if power
more than quadruples meanwhile, and the pauses shorten as the margin shrinks. The pause is clipped
to `ADVICE_EVERY_S` to `ADVICE_CALM_S`, five minutes, so that a misprediction is bounded, and
rounded down to a multiple of ten.

No quiet time is granted in the first `ADVICE_START_S`, while a distance target has a cue, while the
pack rests (its voltage may correct the count at any second), or without a curve or a position.
Without a battery nothing is due.

What the rider changes (target, home, charge, set-up, reserve) is evaluated at once (`reevaluate`),
and the alerts at the next multiple of ten.
"""

import math

import numpy as np

from onboard.contract.figure import Unknown
from onboard.efficiency.advice.adviser import Adviser
from onboard.efficiency.advice.conditions import AlertConditions
from onboard.efficiency.advice.counted_pack import CountedPack
from onboard.efficiency.advice.observations import AdviceObserved, CountersObserved
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.common_practice import (
    ADVICE_CALM_S,
    ADVICE_EVERY_S,
    ADVICE_LEAST_W,
    ADVICE_QUIET_SHARE,
    ADVICE_START_S,
)
from onboard.efficiency.curve.learner import Learner
from onboard.efficiency.parts import LEFT_OUT, Parts
from onboard.efficiency.riding.present_riding import PresentRiding, Riding
from onboard.efficiency.sources.instruments import Instruments, all_active


class AdviceSchedule:
    """Evaluate advice and its alerts at the stream times that are due.

    Parameters
    ----------
    parts
        The engine's parts; the other parameters are the parts evaluated.
    """

    def __init__(  # noqa: PLR0917
        self,
        parts: Parts,
        instruments: Instruments,
        battery: CountedPack,
        present: PresentRiding,
        learner: Learner,
        adviser: Adviser,
        alerts: AlertConditions,
    ) -> None:
        self._parts = parts
        self._instruments = instruments
        self._battery = battery
        self._present = present
        self._learner = learner
        self._adviser = adviser
        self._alerts = alerts
        self._due_s: float | None = None
        """Stream time of the next evaluation [s]."""
        self.settled_s = 0.0
        """Stream time of the newest settled second [s]."""

    def seconds_until_due(self, first_s: float) -> int:
        """Return how many seconds to fold before an evaluation; the first ends at `first_s`."""
        if self._due_s is None:
            self._due_s = math.ceil(first_s / ADVICE_EVERY_S) * ADVICE_EVERY_S
        return int(self._due_s - first_s) + 1

    def evaluate_if_due(self, t_s: float) -> None:
        """Evaluate if it is due, once the seconds up to a stream time [s] are folded."""
        self.settled_s = t_s
        if self._due_s is not None and t_s >= self._due_s:
            self._due_s += self._evaluate(self._due_s)

    def reevaluate(self) -> None:
        """Evaluate advice after the rider changed something, and alerts at the next multiple."""
        side = self._instruments.battery_side()
        pack = self._battery.by(self._instruments.unless_silent(side))
        self._advise(pack)
        if self._due_s is not None:
            soon_s = (self.settled_s // ADVICE_EVERY_S + 1.0) * ADVICE_EVERY_S
            self._due_s = min(self._due_s, soon_s)

    def _evaluate(self, t_s: float) -> int:
        """Evaluate at a stream time [s]; return the pause until the next evaluation [s]."""
        fold = self._parts.fold
        side = fold("power", self._instruments.power.chosen, t_s)
        if side is not None:
            at = np.array([t_s])
            charge, counted = (float(side.at(n, at)[0]) for n in ("charge_ah", "counted_ah"))
            counters = CountersObserved(t_s, counted - charge, charge)
            fold("alerts", self._alerts.observe, counters)
        pack = self._battery.by(all_active(side or self._instruments.battery_side()))
        quiet_s = self._advise(pack)
        if quiet_s is None:
            quiet_s = math.inf
        if not isinstance(pack, Unknown):
            quiet_s = min(quiet_s, self._warn(t_s, pack))
        if t_s < ADVICE_START_S:
            quiet_s = 0.0
        pause_s = min(max(quiet_s * ADVICE_QUIET_SHARE, ADVICE_EVERY_S), ADVICE_CALM_S)
        return int(pause_s // ADVICE_EVERY_S) * ADVICE_EVERY_S

    def _riding(self) -> Riding | Unknown:
        return self._parts.fold("way of riding", self._present.now) or LEFT_OUT

    def _advise(self, pack: Pack | Unknown) -> float | None:
        """Evaluate the stateful advice; return its quiet time [s]."""
        known, riding = self._learner.posterior, self._riding()
        return self._parts.fold("advice", self._adviser.evaluate, pack, known, riding)

    def _warn(self, t_s: float, pack: Pack) -> float:
        """Test the alerts of pack and advice; return the quiet time by the energy left [s]."""
        fold = self._parts.fold
        riding = self._riding()
        power_w = 0.0 if isinstance(riding, Unknown) else riding.power_w
        spare_wh = fold("battery", self._spare_wh, t_s, pack, power_w) or 0.0
        if "advice" not in self._parts.without:
            advice = AdviceObserved(t_s, self._adviser.home.turn_back, self._adviser.target)
            fold("alerts", self._alerts.observe, advice)
        if pack.count.resting:
            return 0.0
        return spare_wh * 3600.0 / max(power_w, ADVICE_LEAST_W)

    def _spare_wh(self, t_s: float, pack: Pack, power_w: float) -> float | None:
        """Return the energy left until the low-energy alert [Wh]."""
        return self._parts.fold("alerts", self._alerts.observe_pack, t_s, pack, power_w)
