"""When to look at what to advise and to warn of: the sooner, the sooner something may be due."""

import math

import numpy as np

from onboard.contract.figure import Unknown
from onboard.efficiency.advice.adviser import Adviser
from onboard.efficiency.advice.conditions import Watches
from onboard.efficiency.advice.counted_pack import CountedPack
from onboard.efficiency.advice.present_riding import PresentRiding
from onboard.efficiency.battery.pack import Pack
from onboard.efficiency.curve.learner import Learner
from onboard.efficiency.parts import LEFT_OUT, Parts
from onboard.efficiency.sources.instruments import Instruments, all_active

EVERY_S, CALM_S = 10, 300
"""How often it is looked: while something may be due, and at least."""

QUIET_FRACTION = 0.25
"""Of the time for which nothing can be due, as far as one can tell, until it is looked again."""

FIRST_S = 120.0
"""Until then much may change from one look to the next."""

LEAST_W = 100.0
"""Even at rest a craft may be off at this power the next moment."""


class Lookout:
    """Looks at settled seconds at the times that are due, the same for any cutting of the stream.

    Parameters
    ----------
    parts
        The engine's parts; the others are those of them that are looked at and told.
    """

    def __init__(  # noqa: PLR0917
        self,
        parts: Parts,
        instruments: Instruments,
        battery: CountedPack,
        present: PresentRiding,
        learner: Learner,
        adviser: Adviser,
        watches: Watches,
    ) -> None:
        self._parts = parts
        self._instruments = instruments
        self._battery = battery
        self._present = present
        self._learner = learner
        self._adviser = adviser
        self._watches = watches
        self._due_s: float | None = None
        """Stream time of the next look [s]."""
        self.settled_s = 0.0
        """Stream time of the newest settled second [s]."""

    def seconds_until_due(self, first_s: float) -> int:
        """Return how many seconds, from one that ends then on, are to be taken in before a look."""
        if self._due_s is None:
            self._due_s = math.ceil(first_s / EVERY_S) * EVERY_S
        return int(self._due_s - first_s) + 1

    def reached(self, t_s: float) -> None:
        """Look if it is due, now that the seconds up to then [s] are taken in."""
        self.settled_s = t_s
        if self._due_s is not None and t_s >= self._due_s:
            self._due_s += self._look(self._due_s)

    def look_anew(self) -> None:
        """Look at what to advise now that something else is wanted; and soon again for alerts."""
        side = self._instruments.battery_side()
        pack = self._battery.by(self._instruments.unless_silent(side))
        self._parts.fold("advice", self._adviser.look, pack, self._learner.posterior)
        if self._due_s is not None:
            soon_s = (self.settled_s // EVERY_S + 1.0) * EVERY_S
            self._due_s = min(self._due_s, soon_s)

    def _look(self, t_s: float) -> int:
        """Look at what holds until the next look; give when that is due [s from now]."""
        fold = self._parts.fold
        side = fold("power", self._instruments.power.chosen, t_s)
        if side is not None:
            at = np.array([t_s])
            charge, counted = (float(side.at(n, at)[0]) for n in ("charge_ah", "counted_ah"))
            fold("alerts", self._watches.counters, t_s, counted - charge, charge)
        pack = self._battery.by(all_active(side or self._instruments.battery_side()))
        quiet_s = fold("advice", self._adviser.look, pack, self._learner.posterior)
        if quiet_s is None:
            quiet_s = math.inf
        if not isinstance(pack, Unknown):
            quiet_s = min(quiet_s, self._warn(t_s, pack))
        if t_s < FIRST_S:
            quiet_s = 0.0
        pause_s = min(max(quiet_s * QUIET_FRACTION, EVERY_S), CALM_S)
        return int(pause_s // EVERY_S) * EVERY_S

    def _warn(self, t_s: float, pack: Pack) -> float:
        """Look at what is left, and at the way home; give for how long nothing can be due [s]."""
        fold = self._parts.fold
        riding = fold("way of riding", self._present.now) or LEFT_OUT
        power_w = 0.0 if isinstance(riding, Unknown) else riding.power_w
        spare_wh = fold("battery", self._spare_wh, t_s, pack, power_w) or 0.0
        if "advice" not in self._parts.without:
            aim = self._adviser.home.turn_back, self._adviser.target
            fold("alerts", self._watches.advice, t_s, *aim)
        if pack.count.resting:
            return 0.0
        return spare_wh * 3600.0 / max(power_w, LEAST_W)

    def _spare_wh(self, t_s: float, pack: Pack, power_w: float) -> float | None:
        """Look at what is left; give how far off an alert of it is [Wh]."""
        return self._parts.fold("alerts", self._watches.energy, t_s, pack, power_w)
