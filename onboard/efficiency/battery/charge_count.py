"""How full the pack is: counted, anchored by a rested voltage, carried over, and told by the rider.

`charge_state` has the arithmetic, `recharge` what may have come of the time while nobody counted;
here is what was heard so far.
"""

import copy
import math
from dataclasses import replace
from typing import Any, Self

import numpy as np

from onboard.block import FloatArray
from onboard.contract.commands import Amount
from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.chemistry import CHEMISTRIES
from onboard.efficiency.battery.recharge import (
    CHARGED_FULL_SD,
    Away,
    charged,
    known_at,
    less_known,
    told_by_voltage,
)
from onboard.efficiency.battery.resistance import USUAL_SD_FRACTION
from onboard.efficiency.battery.rest import Rested, RestFinder
from onboard.efficiency.battery.saved_charge import KeptCharge
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import CAPACITY
from onboard.profile import Battery

NEW_FRACTION = 0.25
"""A rested voltage tells something new after so much of full was drawn since the last: the table is
wrong by much the same before. Deviations of the three published cells from their mean correlate by
0.90 over 0.1 of the charge, 0.63 over 0.2, 0.21 over 0.3 (`tests/data/pybamm_ocv_soc.csv`)."""


class ChargeCount:
    """The charge of one pack over a trip.

    Parameters
    ----------
    battery
        What the profile states.
    begin
        What is known of the charge before the stream begins.
    series
        SettledSeconds in series: what turns a cell's voltage by the table into the pack's.
    usual_ohm
        Resistance of the whole pack: for a rested one's small current it is near enough, and does
        not change.
    """

    def __init__(
        self, battery: Battery, begin: ChargeState, series: float, usual_ohm: float
    ) -> None:
        self._name, self._cells = battery.chemistry, battery.cells
        self._chemistry = CHEMISTRIES[battery.chemistry]
        self._series, self._usual_ohm = series, usual_ohm
        self._before_rest = begin
        self._rest: Rested | None = None
        self._finder = RestFinder(begin.full_ah)
        self._anchored_ah: float | None = None
        self.charge_ah = self.t_s = 0.0
        """Charge drawn [Ah] and stream time [s] at the newest second."""
        self._began = False
        self._resumed: KeptCharge | None = None
        """What the count was carried on from, until the rider said more."""
        self.is_told = False
        """Whether anything but the profile says how full it is: an earlier count, or the rider."""
        self._as_resumed: ChargeState | None = None
        self._news: list[tuple[float, Away, bool]] = []
        self._unsaid_since_s: float | None = None
        self.asks_from_s = 0.0
        """From which stream time on it has been open whether the pack was charged [s]."""

    @property
    def state(self) -> ChargeState:
        """The charge state, anchored by the present rest if there is one."""
        return self._state_and_question()[0]

    @property
    def unsaid_since_s(self) -> float | None:
        """Since when nobody knows whether the pack was charged [s, Unix time]; None: it is known.

        NaN where the autopilot did not know the time of day.
        """
        return self._unsaid_since_s if self._state_and_question()[1] else None

    @property
    def resting(self) -> bool:
        """Whether the pack rests now, so that its voltage tells something."""
        return self._rest is not None

    def if_charged(self) -> Self:
        """Return the count as if the pack had been charged full unseen."""
        twin = copy.copy(self)
        twin._news = []
        twin.charged_full()
        return twin

    def fold(self, seconds: SettledSeconds) -> FloatArray:
        """Take in settled seconds, in order.

        Returns
        -------
        numpy.ndarray
            Open-circuit voltage of the pack by the count, shape (n,) [V].
        """
        if len(seconds):
            first_s = float(seconds.t_s[0])
            self._begin(first_s)
            self._take_news(first_s)
        charge = np.where(np.isfinite(seconds.charge_ah), seconds.charge_ah, self.charge_ah)
        state = self._before_rest
        drawn = (charge - state.start_ah) / state.full_ah
        open_v: FloatArray = self._series * np.interp(
            state.start_fraction - drawn, self._chemistry.fraction, self._chemistry.ocv_v
        )
        columns = (seconds.t_s, seconds.volts_v, seconds.amps_a, charge)
        for row in zip(*(column.tolist() for column in columns), strict=True):
            self._take_news(row[0])
            rest = self._finder.take(*row)
            if self._rest is not None and rest is None:
                self._settle_rest(self._rest)
            counts = self._tells_anew(row[3]) or self._unsaid_since_s is not None
            self._rest = rest if self._rest is not None or counts else None
        if len(seconds):
            self.charge_ah, self.t_s = float(charge[-1]), float(seconds.t_s[-1])
        return open_v

    def _begin(self, first_s: float) -> None:
        if self._began:
            return
        self._began = True
        # Set, not moved there: before the stream began nothing was counted wrongly.
        as_resumed = self._before_rest is self._as_resumed
        self._before_rest = replace(self._before_rest, start_s=first_s - 1.0)
        self._as_resumed = self._before_rest if as_resumed else None

    def _state_and_question(self) -> tuple[ChargeState, bool]:
        """Return the state, and whether it is open if the pack was charged unseen."""
        state, asks = self._before_rest, self._unsaid_since_s is not None
        if self._rest is None:
            return state, asks
        rest = self._rest
        open_v = rest.volts_v + rest.amps_a * self._usual_ohm
        # The resistance is a guess here.
        sd_v = math.hypot(
            rest.sd_v, USUAL_SD_FRACTION * rest.amps_a * self._usual_ohm / self._cells
        )
        seen = self._chemistry, open_v / self._series, sd_v, rest.charge_ah, rest.t_s
        if asks:
            known, asks = told_by_voltage(state, *seen)
            if known is not state or not self._tells_anew(rest.charge_ah):
                return known, asks
        return state.anchored(*seen), asks

    def _tells_anew(self, charge_ah: float) -> bool:
        """Return whether the voltage would say more than the last one that was counted."""
        before = self._anchored_ah
        return before is None or abs(charge_ah - before) >= NEW_FRACTION * self._before_rest.full_ah

    def _settle_rest(self, rest: Rested) -> None:
        """Keep what a rest told, now that it is over."""
        before = self._before_rest
        self._before_rest, asks = self._state_and_question()
        if not asks:
            self._unsaid_since_s = None
        if self._before_rest is not before:
            self._anchored_ah = rest.charge_ah

    def charged_full(self) -> None:
        """Take the pack as full from now on."""
        self._say(known_at(self.state, 1.0, CHARGED_FULL_SD, self.charge_ah, self.t_s))

    def charged(self, amount: Amount, full_wh: float) -> None:
        """Take in what the rider says of a charge of a pack that holds so much when full [Wh]."""
        here = self.state.moved_to(self.charge_ah, self.t_s)
        self._say(charged(here, self._chemistry, self._name, full_wh, amount))

    def _say(self, state: ChargeState) -> None:
        self._before_rest, self.is_told = state, True
        self._rest = self._anchored_ah = self._resumed = self._unsaid_since_s = None

    def as_dict(self, charge_ah: float | None = None, t_s: float | None = None) -> dict[str, Any]:
        """Return what must outlast a restart of the daemon, in JSON's own types.

        Parameters
        ----------
        charge_ah, t_s
            Charge drawn [Ah] and stream time [s] by the newest sample; None: as folded.
        """
        if self._news and charge_ah is not None and t_s is not None:
            return self._told_by(t_s).as_dict(charge_ah, t_s)
        if self._resumed is not None and not self._began:
            # Nothing came of it yet: not widened again and again by restarts.
            return self._resumed.stated
        charge_ah = self.charge_ah if charge_ah is None else charge_ah
        state, asks = self._state_and_question()
        anchored_ah = self._anchored_ah
        if self._rest is not None and state is not self._before_rest:
            anchored_ah = self._rest.charge_ah
        state = state.moved_to(charge_ah, self.t_s if t_s is None else t_s)
        since = None if anchored_ah is None else (charge_ah - anchored_ah) / state.full_ah
        unsaid_s = self._unsaid_since_s
        return {
            "since_anchor_fraction": since,
            "fraction": state.start_fraction,
            "capacity_error": float(state.mean[CAPACITY]),
            "covariance": state.covariance.tolist(),
            "contradicted": state.contradicted,
            "unsaid": asks,
            "unsaid_since_utc_s": unsaid_s if unsaid_s is not None and unsaid_s > 0 else None,
        }

    def _told_by(self, t_s: float) -> Self:
        """Return count with what is known of times away by a stream time, settled or not [s]."""
        twin = copy.copy(self)
        told = [news for news in self._news if news[0] <= t_s]
        twin._news = []
        if told:
            # A second or more too late: what the sensor's zero is off by in a few, nobody misses.
            twin._begin(t_s)
        for news in told:
            twin._learn_away(*news)
        return twin

    def resume(self, kept: Any, away: Away, utc_s: float = math.nan) -> None:
        """Carry on from what was kept; to be called before anything is folded.

        Parameters
        ----------
        kept
            From `as_dict`.
        away
            For how long nobody looked, as far as that is known now.
        utc_s
            When it was kept [s, Unix time]; NaN where nobody knows.

        Raises
        ------
        ValueError
            If it is not what `as_dict` gives.
        """
        self.is_told = True
        self._resumed = KeptCharge.read(kept, self._before_rest.full_ah, utc_s)
        self._begin_from(self._resumed, away)

    def away(self, t_s: float, away: Away) -> None:
        """Learn, as of a stream time [s], how long nobody looked before the stream began."""
        self._news.append((t_s, away, False))

    def was_off(self, t_s: float, away: Away) -> None:
        """Learn that the autopilot was off up to a stream time [s]."""
        self._news.append((t_s, away, True))

    def _take_news(self, t_s: float) -> None:
        """Take in what is known of times away by a stream time [s]."""
        while self._news and t_s >= self._news[0][0]:
            self._learn_away(*self._news.pop(0))

    def _learn_away(self, t_s: float, away: Away, within: bool) -> None:
        if within:
            if away.asks:
                if self._rest is not None:
                    self._settle_rest(self._rest)
                self._before_rest = less_known(self._before_rest, away.unseen_sd)
                if self._unsaid_since_s is None:
                    self._unsaid_since_s, self.asks_from_s = math.nan, t_s
                self._finder, self._rest = RestFinder(self._before_rest.full_ah), None
        elif self._resumed is not None:
            if self._before_rest is self._as_resumed:
                self._begin_from(self._resumed, away)
            elif not (self._resumed.unsaid or away.asks):
                self._unsaid_since_s = None

    def _begin_from(self, kept: KeptCharge, away: Away) -> None:
        """Set the count to what was kept, and to what is known of the time since."""
        here, drawn_ah = self._before_rest, away.drawn_ah or 0.0
        # Moved as if counted: the sensors' errors are in what was drawn meanwhile, too.
        state = less_known(kept.state, away.unseen_sd).moved_to(drawn_ah, 0.0)
        self._before_rest = replace(state, start_ah=here.start_ah, start_s=here.start_s)
        self._as_resumed = self._before_rest
        self._unsaid_since_s = kept.since_s if kept.unsaid or away.asks else None
        # Not at rest before: it may come from work, or be in a rest that counted.
        loaded = away.went_on or away.is_short
        if loaded != self._finder.loaded_before:
            self._finder, self._rest = RestFinder(here.full_ah, loaded), None
        since = kept.since_anchor_fraction
        self._anchored_ah = (
            None if since is None else here.start_ah - drawn_ah - since * here.full_ah
        )
