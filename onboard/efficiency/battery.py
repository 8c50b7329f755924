"""The pack: what is left in it, by count, voltage and resistance."""

import copy
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.amount import Amount
from onboard.efficiency.cells import Cells
from onboard.efficiency.charge_state import ChargeState
from onboard.efficiency.chemistry import CHEMISTRIES
from onboard.efficiency.energy_left import Cellar
from onboard.efficiency.figure import Estimate, reaching_up_to
from onboard.efficiency.kept_charge import KeptCharge
from onboard.efficiency.recharge import (
    CHARGED_FULL_SD,
    Away,
    charged,
    known_at,
    less_known,
    told_by_voltage,
)
from onboard.efficiency.resistance import Slope
from onboard.efficiency.rest import Rested, RestFinder
from onboard.efficiency.shared_errors import CAPACITY, COUNT, Spread, prior_covariance, ratio
from onboard.profile import Battery, Sensors

AT_ONCE_S, LASTING_S = 2, 60

USUAL_OHM_AH, USUAL_SD_FRACTION = 0.1, 0.6
"""Resistance of a cell times its capacity, wiring included, until it is measured. Common practice,
no source."""

LASTING_OVER_QUICK, LASTING_SD_FRACTION = 1.3, 0.3
"""What a lasting load costs over what answers at once, until it is measured. Common practice, no
source."""

RATES = np.array([0.0, 0.15, 0.4, 1.0, 2.5, 6.0])
"""Powers, as multiples of what empties the pack in an hour, that uncertainty is worked out at."""

NEW_FRACTION = 0.25
"""A rested voltage tells something new after so much of full was drawn since the last: the table is
wrong by much the same before. Deviations of the three published cells from their mean correlate by
0.90 over 0.1 of the charge, 0.63 over 0.2, 0.21 over 0.3 (`tests/data/pybamm_ocv_soc.csv`)."""


@dataclass(frozen=True)
class BatteryState:
    """What is left.

    Parameters
    ----------
    left_wh
        What can still be drawn above the reserve and before the cut-off [Wh].
    left_fraction
        The same as a share of the pack's full energy.
    resistance_ohm
        Internal resistance of the whole pack, as it answers at once [ohm].
    """

    left_wh: Estimate
    left_fraction: Estimate
    resistance_ohm: Estimate


class Pack:
    """The battery of one craft over a trip.

    Parameters
    ----------
    battery, sensors
        What the profile states.
    """

    def __init__(self, battery: Battery, sensors: Sensors) -> None:
        self._battery = battery
        self._chemistry = CHEMISTRIES[battery.chemistry]
        table_v = battery.cells * self._chemistry.mean_v
        if battery.capacity_ah is None:
            assert battery.energy_wh is not None
            full_ah, self._scale = battery.energy_wh / table_v, float(battery.cells)
        else:
            full_ah, self._scale = battery.capacity_ah, float(battery.cells)
            if battery.energy_wh is not None:
                self._scale *= battery.energy_wh / (full_ah * table_v)
        self.cutoff_v = battery.cutoff_v or battery.cells * self._chemistry.cutoff_v
        self._before_rest = ChargeState(
            full_ah, battery.start_fraction, 0.0, 0.0, np.zeros(COUNT),
            prior_covariance(sensors, battery),
        )  # fmt: skip
        # For a rested pack's small current it is near enough, and does not change.
        self._usual_ohm = battery.resistance_ohm or USUAL_OHM_AH * battery.cells / full_ah
        self._rest: Rested | None = None
        self._finder = RestFinder(full_ah)
        self._anchored_ah: float | None = None
        self._at_once = Slope(AT_ONCE_S, battery.resistance_ohm)
        self._lasting = Slope(LASTING_S, battery.resistance_ohm)
        self._charge_ah = self._t_s = 0.0
        self._variance_of = (float("nan"), 0.0)
        self._variance = np.empty(0), np.empty(0)
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
        self._if_charged: Pack | None = None
        self._spreads: dict[float, Spread] = {}
        """What is left by power, since anything about the pack last changed."""

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

    def _state_and_question(self) -> tuple[ChargeState, bool]:
        """Give the state, and whether it is open if the pack was charged unseen."""
        state, asks = self._before_rest, self._unsaid_since_s is not None
        if self._rest is None:
            return state, asks
        rest = self._rest
        open_v = rest.volts_v + rest.amps_a * self._usual_ohm
        # The resistance is a guess here.
        sd_v = math.hypot(
            rest.sd_v, USUAL_SD_FRACTION * rest.amps_a * self._usual_ohm / self._battery.cells
        )
        seen = self._chemistry, open_v / self._scale, sd_v, rest.charge_ah, rest.t_s
        if asks:
            known, asks = told_by_voltage(state, *seen)
            if known is not state or not self._tells_anew(rest.charge_ah):
                return known, asks
        return state.anchored(*seen), asks

    @property
    def resting(self) -> bool:
        """Whether the pack rests now, so that its voltage tells something."""
        return self._rest is not None

    @property
    def covariance(self) -> FloatArray:
        """Of the shared errors, shape (5, 5)."""
        return self.state.covariance

    def fold(self, cells: Cells) -> None:
        """Take in settled seconds, in order."""
        self._changed()
        if not self._began and len(cells):
            self._began = True
            # Set, not moved there: before the stream began nothing was counted wrongly.
            as_resumed = self._before_rest is self._as_resumed
            self._before_rest = replace(self._before_rest, start_s=float(cells.t_s[0]) - 1.0)
            self._as_resumed = self._before_rest if as_resumed else None
        if len(cells):
            self._take_news(float(cells.t_s[0]))
        charge = np.where(np.isfinite(cells.charge_ah), cells.charge_ah, self._charge_ah)
        state = self._before_rest
        drawn = (charge - state.start_ah) / state.full_ah
        expected = self._scale * np.interp(
            state.start_fraction - drawn, self._chemistry.fraction, self._chemistry.ocv_v
        )
        self._at_once.fold(cells.volts_v, cells.amps_a, expected)
        self._lasting.fold(cells.volts_v, cells.amps_a, expected)
        columns = (cells.t_s, cells.volts_v, cells.amps_a, charge)
        for row in zip(*(column.tolist() for column in columns), strict=True):
            self._take_news(row[0])
            rest = self._finder.take(*row)
            if self._rest is not None and rest is None:
                self._settle_rest(self._rest)
            counts = self._tells_anew(row[3]) or self._unsaid_since_s is not None
            self._rest = rest if self._rest is not None or counts else None
        if len(cells):
            self._charge_ah, self._t_s = float(charge[-1]), float(cells.t_s[-1])

    def _tells_anew(self, charge_ah: float) -> bool:
        """Tell whether the voltage would say more than the last one that was counted."""
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
        self._say(known_at(self.state, 1.0, CHARGED_FULL_SD, self._charge_ah, self._t_s))

    def charged(self, amount: Amount) -> None:
        """Take in what the rider says of a charge: none, how much, or how full; see `recharge`."""
        here = self.state.moved_to(self._charge_ah, self._t_s)
        name, full_wh = self._battery.chemistry, self.full.value
        self._say(charged(here, self._chemistry, name, full_wh, amount))

    def _say(self, state: ChargeState) -> None:
        self._changed()
        self._before_rest, self.is_told = state, True
        self._rest = self._anchored_ah = self._resumed = self._unsaid_since_s = None

    def _changed(self) -> None:
        """Let go what was worked out of the pack as it was."""
        self._spreads.clear()
        self._if_charged = None

    @property
    def if_charged(self) -> "Pack | None":
        """The pack as if it had been charged full unseen; None where that is not open."""
        if self.unsaid_since_s is None:
            return None
        if self._if_charged is None:
            twin = copy.copy(self)
            twin._spreads, twin._news = {}, []
            twin.charged_full()
            self._if_charged = twin
        return self._if_charged

    @property
    def reserve_fraction(self) -> float:
        """Energy to keep, as a share of full."""
        return self._battery.reserve_fraction

    def set_reserve(self, fraction: float) -> None:
        """Set the energy to keep, as a share of full."""
        self._changed()
        self._battery = replace(self._battery, reserve_fraction=fraction)
        self._variance_of = (float("nan"), 0.0)

    def left(self, power_w: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Give what can still be drawn at constant powers [W], shape (n,).

        Returns
        -------
        tuple of numpy.ndarray
            Energy [Wh] (n,), gradient along the shared errors (n, 5), own variance [Wh^2] (n,).
        """
        state, cellar = self.state, self._cellar()
        fraction, gradient = state.fraction(self._charge_ah, self._t_s)
        known = 1 + float(state.mean[CAPACITY])
        capacity = state.full_ah * known
        energy, volts = cellar.left(fraction, power_w)
        slopes = capacity * volts[:, None] * gradient
        slopes[:, CAPACITY] += capacity * energy / known
        at, variance = self._own_variance(cellar, fraction)
        return capacity * energy, slopes, capacity**2 * np.interp(power_w, at, variance)

    def left_wh(self, power_w: float) -> float:
        """Give what can still be drawn at one power [Wh], without what is uncertain of it."""
        state = self.state
        fraction, _ = state.fraction(self._charge_ah, self._t_s)
        energy, _ = self._cellar().left(fraction, np.array([power_w]))
        return float(energy[0]) * state.full_ah * (1 + float(state.mean[CAPACITY]))

    def _cellar(self) -> Cellar:
        return Cellar(
            self._chemistry,
            self._scale,
            self._battery.energy_wh is not None,
            self._battery.reserve_fraction,
            self.cutoff_v,
            *self._resistance(),
        )

    def _own_variance(self, cellar: Cellar, fraction: float) -> tuple[FloatArray, FloatArray]:
        """Give powers and variances there; they change slowly with power, and once a second."""
        key = (fraction, self._t_s)
        if self._variance_of != key:
            powers = RATES * self._before_rest.full_ah * self._scale * self._chemistry.mean_v
            self._variance_of = key
            self._variance = powers, cellar.variance(fraction, powers)
        return self._variance

    def left_spread(self, power_w: float) -> Spread:
        """Give what can still be drawn at one power [Wh]; asked for the same several times."""
        if power_w not in self._spreads:
            energy, gradient, own = self.left(np.array([power_w]))
            self._spreads[power_w] = Spread(float(energy[0]), gradient[0], float(own[0]))
        return self._spreads[power_w]

    @property
    def full(self) -> Spread:
        """The pack's energy when full [Wh]."""
        state = self.state
        table = state.full_ah * self._scale * self._chemistry.mean_v
        full_wh = table * (1 + float(state.mean[CAPACITY]))
        gradient = np.zeros(COUNT)
        gradient[CAPACITY] = table
        return Spread(full_wh, gradient)

    def summary(self, power_w: float) -> BatteryState:
        """Give what is left at a power [W], with intervals."""
        left, full, covariance = self.left_spread(power_w), self.full, self.covariance
        share = ratio(left, full)
        now = BatteryState(
            left.figure(covariance, 0.0),
            share.figure(covariance, 0.0, 1.0),
            self._at_once.figure(),
        )
        if self.if_charged is None:
            return now
        charged = self.if_charged.summary(power_w)
        return replace(
            now,
            left_wh=reaching_up_to(now.left_wh, charged.left_wh),
            left_fraction=reaching_up_to(now.left_fraction, charged.left_fraction),
        )

    @property
    def contradicted(self) -> bool:
        """Whether the voltage of the rested pack contradicted the stated charge."""
        return self.state.contradicted

    def _resistance(self) -> tuple[float, float]:
        """Give what a lasting load costs, and its standard deviation [ohm]."""
        lasting, quick = self._lasting.value_and_sd(), self._at_once.value_and_sd()
        if quick is None:
            guess, sd = self._usual_ohm, USUAL_SD_FRACTION * self._usual_ohm
        else:
            guess, sd = LASTING_OVER_QUICK * quick[0], LASTING_SD_FRACTION * quick[0] + 1e-5
        if lasting is None:
            return guess, sd
        weights = 1.0 / max(lasting[1], 1e-5) ** 2, 1.0 / sd**2
        total = sum(weights)
        return (lasting[0] * weights[0] + guess * weights[1]) / total, 1.0 / math.sqrt(total)

    def as_dict(self, charge_ah: float | None = None, t_s: float | None = None) -> dict[str, Any]:
        """Give what must outlast a restart of the daemon, in JSON's own types.

        Parameters
        ----------
        charge_ah, t_s
            Charge drawn [Ah] and stream time [s] by the newest sample; None: as folded.
        """
        if self._resumed is not None and not self._began:
            # Nothing came of it yet: not widened again and again by restarts.
            return self._resumed.stated
        charge_ah = self._charge_ah if charge_ah is None else charge_ah
        state, asks = self._state_and_question()
        anchored_ah = self._anchored_ah
        if self._rest is not None and state is not self._before_rest:
            anchored_ah = self._rest.charge_ah
        state = state.moved_to(charge_ah, self._t_s if t_s is None else t_s)
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
        self._changed()
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

    def _begin_from(self, kept: "KeptCharge", away: Away) -> None:
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
