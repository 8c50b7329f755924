"""The state of charge of one pack over a trip: counted, anchored at rest, carried over, stated.

`charge_state` opens with the theory of the filter; `rest` finds rests, `recharge` has the effect
of absences and of the rider's statements. This module has the sequence of events: the state in
force, whether a rest is in progress, and whether an unseen charge is an open question.
"""

import copy
import math
from dataclasses import replace
from typing import Any, Self

import numpy as np

from onboard.block import FloatArray
from onboard.contract.commands import Amount
from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.full_to_full import ChargerLoop
from onboard.efficiency.battery.learned_practice import SAME_CHARGE_FRACTION
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.recharge import (
    Away,
    aged,
    answered_by_voltage,
    charged,
    widened,
    with_known_charge,
)
from onboard.efficiency.battery.rest import Rested, RestFinder
from onboard.efficiency.battery.saved_charge import SavedCharge, with_gain
from onboard.efficiency.common_practice import CHARGED_FULL_SD, USUAL_OHM_SD_FRACTION
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import CAPACITY
from onboard.profile import Battery

NEW_FRACTION = 0.25
"""Charge to draw before another rested voltage is informative, as a share of full: until then the
error of the OCV curve is much the same. Deviations of the three published cells from their mean
have correlations of 0.90 over 0.1 of the charge, 0.63 over 0.2, 0.21 over 0.3
(`tests/data/pybamm_ocv_soc.csv`)."""


class ChargeCount:
    """The charge of one pack over a trip.

    Parameters
    ----------
    battery
        The profile's battery.
    begin
        Estimate before the stream begins.
    series
        Ratio of pack voltage to the curve's cell voltage.
    usual_ohm
        Resistance of the whole pack [ohm]: constant, and accurate enough for a rested pack's small
        current.
    """

    def __init__(
        self, battery: Battery, begin: ChargeState, series: float, usual_ohm: float
    ) -> None:
        self._chemistry, self._cells = battery.chemistry, battery.cells
        self._ocv = OCV_CURVES[battery.chemistry]
        self._series, self._usual_ohm = series, usual_ohm
        self._before_rest = begin
        self._rest: Rested | None = None
        self._finder = RestFinder(begin.full_ah)
        self._anchored_ah: float | None = None
        self._anchored: tuple[tuple[Any, ...], tuple[ChargeState, bool]] | None = None
        """The result for the present rest, with what it was worked out from."""
        self.charge_ah = self.t_s = 0.0
        """Charge drawn [Ah] and stream time [s] at the newest second."""
        self._began = False
        self._resumed: SavedCharge | None = None
        """The saved count resumed from, until the rider states a charge."""
        self.is_stated = False
        """Whether an earlier count or the rider determines the charge, not the profile alone."""
        self._as_resumed: ChargeState | None = None
        self._absences: list[tuple[float, Away, bool]] = []
        self._loop = ChargerLoop(battery.chemistry, begin.full_ah)
        self._since_away_ah = self._away_drawn_ah = 0.0
        """Charge drawn since the last absence, and in the one before the stream [Ah]."""
        self._charges = 0
        """Metered charges that the state rests on."""
        self._rests = 0
        self._recharge_unknown_since_s: float | None = None
        self.question_from_s = 0.0
        """Stream time since which the question of an unseen charge has been open [s]."""

    @property
    def state(self) -> ChargeState:
        """The estimate, anchored by the present rest, if any."""
        return self._state_and_question()[0]

    def fraction(self) -> float:
        """Return the state of charge at the newest second, as counted since the last rest."""
        return self._before_rest.fraction(self.charge_ah, self.t_s)[0]

    @property
    def recharge_unknown_since_s(self) -> float | None:
        """Unix time [s] since which it is unknown whether the pack was charged; None if known.

        NaN where the autopilot did not know the time of day.
        """
        return self._recharge_unknown_since_s if self._state_and_question()[1] else None

    @property
    def resting(self) -> bool:
        """Whether the pack is in an informative rest now."""
        return self._rest is not None

    @property
    def rests(self) -> int:
        """Rested voltages that the state rests on, those of earlier rides included."""
        return self._rests + (self.state is not self._before_rest)

    def if_charged(self) -> Self:
        """Return the count as if the pack had been charged full unseen."""
        twin = copy.copy(self)
        twin._absences = []
        twin.charged_full()
        return twin

    def fold(self, seconds: SettledSeconds) -> FloatArray:
        """Fold in settled seconds, in order.

        Returns
        -------
        numpy.ndarray
            Open-circuit voltage of the pack by the count, shape (n,) [V].
        """
        if len(seconds):
            first_s = float(seconds.t_s[0])
            self._begin(first_s)
            self._apply_absences(first_s)
        charge = np.where(np.isfinite(seconds.charge_ah), seconds.charge_ah, self.charge_ah)
        state = self._before_rest
        drawn = (charge - state.start_ah) / state.full_ah
        open_v: FloatArray = self._series * np.interp(
            state.start_fraction - drawn, self._ocv.fraction, self._ocv.ocv_v
        )
        columns = (seconds.t_s, seconds.volts_v, seconds.amps_a, charge, seconds.power_w)
        before_ah = self.charge_ah
        for *row, power_w in zip(*(column.tolist() for column in columns), strict=True):
            self._apply_absences(row[0])
            self._loop.count(row[3] - before_ah, row[2], power_w)
            self._since_away_ah += row[3] - before_ah
            before_ah = row[3]
            rest = self._finder.fold(*row)
            if self._rest is not None and rest is None:
                self._end_rest(self._rest)
            counts = self._informative(row[3]) or self._recharge_unknown_since_s is not None
            self._rest = rest if self._rest is not None or counts else None
        if len(seconds):
            self.charge_ah, self.t_s = float(charge[-1]), float(seconds.t_s[-1])
        return open_v

    def _begin(self, first_s: float) -> None:
        if self._began:
            return
        self._began = True
        # Not `moved_to`: before the stream began there was nothing to miscount.
        as_resumed = self._before_rest is self._as_resumed
        self._before_rest = replace(self._before_rest, start_s=first_s - 1.0)
        self._as_resumed = self._before_rest if as_resumed else None

    def _state_and_question(self) -> tuple[ChargeState, bool]:
        """Return the state, and whether an unseen charge is an open question."""
        state, is_open = self._before_rest, self._recharge_unknown_since_s is not None
        if self._rest is None:
            return state, is_open
        key = state, self._rest, is_open, self._anchored_ah
        if self._anchored is None or any(
            one is not other for one, other in zip(self._anchored[0], key, strict=True)
        ):
            self._anchored = key, self._by_rest(state, self._rest, is_open)
        return self._anchored[1]

    def _by_rest(self, state: ChargeState, rest: Rested, is_open: bool) -> tuple[ChargeState, bool]:
        open_v = rest.volts_v + rest.amps_a * self._usual_ohm
        # The resistance is a guess.
        sd_v = math.hypot(
            rest.sd_v, USUAL_OHM_SD_FRACTION * rest.amps_a * self._usual_ohm / self._cells
        )
        seen = self._ocv, open_v / self._series, sd_v, rest.charge_ah, rest.t_s
        if is_open:
            known, is_open = answered_by_voltage(state, *seen)
            if known is not state or not self._informative(rest.charge_ah):
                return known, is_open
        return state.anchored(*seen), is_open

    def _informative(self, charge_ah: float) -> bool:
        """Return whether a rested voltage adds to the last one that was used."""
        before = self._anchored_ah
        return before is None or abs(charge_ah - before) >= NEW_FRACTION * self._before_rest.full_ah

    def _end_rest(self, rest: Rested) -> None:
        """Store the result of a completed rest."""
        before = self._before_rest
        self._before_rest, is_open = self._state_and_question()
        if not is_open:
            self._recharge_unknown_since_s = None
        if self._before_rest is not before:
            self._anchored_ah = rest.charge_ah
            self._rests += 1
            after = self._before_rest
            if after.start_s != before.start_s or after.contradicted is not before.contradicted:
                # The voltage shows a charge that nobody metered.
                self._loop = self._loop.broken()

    def _loop_so_far(self) -> ChargerLoop:
        """Return the charges since full; broken if one may have been missed among them."""
        missed = (
            self.recharge_unknown_since_s is not None
            and self._since_away_ah > SAME_CHARGE_FRACTION * self._before_rest.full_ah
        )
        return self._loop.broken() if missed else self._loop

    def charged_full(self) -> None:
        """Set the pack to full from now on."""
        self._loop = self._loop_so_far().full()
        self._set_state(
            with_known_charge(self.state, 1.0, CHARGED_FULL_SD, self.charge_ah, self.t_s)
        )

    def charged(self, amount: Amount, full_wh: float) -> None:
        """Apply the rider's statement of a charge.

        Parameters
        ----------
        amount
            The amount stated.
        full_wh
            Energy of the full pack [Wh].
        """
        kind, value = amount
        if kind == "left_fraction":
            self._loop = self._loop_so_far().full() if value >= 1.0 else self._loop.broken()
        elif value:
            self._loop = self._loop_so_far().put(amount)
        here = self.state.moved_to(self.charge_ah, self.t_s)
        self._set_state(charged(here, self._chemistry, full_wh, amount))

    def with_gain(self) -> tuple[ChargeState, float, int]:
        """Return state and gain with the charger's readings, and how many charges they rest on.

        The readings count from the next ride on: sensors that change within a trip would count its
        parts in different units.
        """
        state, used, gain = with_gain(self.state, self._loop.readings)
        return state, gain, self._charges + used

    def _set_state(self, state: ChargeState) -> None:
        self._before_rest, self.is_stated = state, True
        self._rest = self._anchored_ah = self._resumed = self._recharge_unknown_since_s = None

    def as_dict(self, charge_ah: float | None = None, t_s: float | None = None) -> dict[str, Any]:
        """Return what must survive a restart of the daemon, in JSON's own types.

        Parameters
        ----------
        charge_ah, t_s
            Charge drawn [Ah] and stream time [s] at the newest sample; None: at the last fold.
        """
        if self._absences and charge_ah is not None and t_s is not None:
            return self._as_of(t_s).as_dict(charge_ah, t_s)
        if self._resumed is not None and not self._began:
            # Unused so far: repeated restarts must not widen it each time.
            return self._resumed.stated
        charge_ah = self.charge_ah if charge_ah is None else charge_ah
        state, is_open = self._state_and_question()
        anchored_ah = self._anchored_ah
        if self._rest is not None and state is not self._before_rest:
            anchored_ah = self._rest.charge_ah
        state = state.moved_to(charge_ah, self.t_s if t_s is None else t_s)
        since = None if anchored_ah is None else (charge_ah - anchored_ah) / state.full_ah
        loop = self._loop_so_far().drawn(charge_ah - self.charge_ah)
        unknown_s = self._recharge_unknown_since_s
        return {
            "since_anchor_fraction": since,
            "fraction": state.start_fraction,
            "capacity_error": float(state.mean[CAPACITY]),
            "covariance": state.covariance.tolist(),
            "contradicted": state.contradicted,
            "unsaid": is_open,
            "unsaid_since_utc_s": unknown_s if unknown_s is not None and unknown_s > 0 else None,
            "since_full": None if loop.since_full is None else loop.since_full.as_dict(),
            "gain_readings": [reading.as_list() for reading in loop.readings],
            "rests": self.rests,
            "charges": self._charges,
        }

    def _as_of(self, t_s: float) -> Self:
        """Return the count with absences known by a stream time [s] applied, settled or not."""
        twin = copy.copy(self)
        past = [absence for absence in self._absences if absence[0] <= t_s]
        twin._absences = []
        if past:
            # A second or more late: the sensor's offset over so short a time is negligible.
            twin._begin(t_s)
        for absence in past:
            twin._apply_absence(*absence)
        return twin

    def resume(self, kept: Any, away: Away, utc_s: float = math.nan) -> None:
        """Resume from a saved count; call it before anything is folded.

        Parameters
        ----------
        kept
            From `as_dict`.
        away
            The absence since, as far as it is known now.
        utc_s
            When it was saved [s, Unix time]; NaN if unknown.

        Raises
        ------
        ValueError
            If `kept` is not what `as_dict` returns.
        """
        self.is_stated = True
        resumed = SavedCharge.read(kept, self._before_rest, utc_s)
        self._resumed, self._rests, self._charges = resumed, resumed.rests, resumed.charges
        self._loop = replace(self._loop, since_full=copy.copy(resumed.since_full))
        self._begin_from(resumed, away)

    def away(self, t_s: float, away: Away) -> None:
        """Record, as of a stream time [s], an absence before the stream began."""
        self._absences.append((t_s, away, False))

    def was_off(self, t_s: float, away: Away) -> None:
        """Record that the autopilot was off until a stream time [s]."""
        self._absences.append((t_s, away, True))

    def _apply_absences(self, t_s: float) -> None:
        """Apply the absences known by a stream time [s]."""
        while self._absences and t_s >= self._absences[0][0]:
            self._apply_absence(*self._absences.pop(0))

    def _apply_absence(self, t_s: float, away: Away, within: bool) -> None:
        if within:
            if away.opens_question:
                if self._rest is not None:
                    self._end_rest(self._rest)
                self._before_rest = widened(self._before_rest, away.unseen_sd)
                if self._recharge_unknown_since_s is None:
                    self._recharge_unknown_since_s, self.question_from_s = math.nan, t_s
                self._finder, self._rest = RestFinder(self._before_rest.full_ah), None
                self._loop, self._since_away_ah = self._loop_so_far(), 0.0
        elif self._resumed is not None:
            if self._before_rest is self._as_resumed:
                self._begin_from(self._resumed, away)
            elif not (self._resumed.recharge_unknown or away.opens_question):
                self._recharge_unknown_since_s = None

    def _begin_from(self, kept: SavedCharge, away: Away) -> None:
        """Set the count to a saved one, updated for the absence since."""
        here, drawn_ah = self._before_rest, away.drawn_ah or 0.0
        # Moved as if counted: charge drawn meanwhile has the sensors' errors too.
        state = aged(widened(kept.state, away.unseen_sd), away.pause_s).moved_to(drawn_ah, 0.0)
        self._before_rest = replace(state, start_ah=here.start_ah, start_s=here.start_s)
        self._loop = self._loop.drawn(drawn_ah - self._away_drawn_ah)
        self._away_drawn_ah = drawn_ah
        self._as_resumed = self._before_rest
        self._recharge_unknown_since_s = (
            kept.since_s if kept.recharge_unknown or away.opens_question else None
        )
        # Not a new rest: the pack may come from a load, or from a rest already used.
        loaded = away.was_running or away.is_short
        if loaded != self._finder.loaded_before:
            self._finder, self._rest = RestFinder(here.full_ah, loaded), None
        since = kept.since_anchor_fraction
        self._anchored_ah = (
            None if since is None else here.start_ah - drawn_ah - since * here.full_ah
        )
