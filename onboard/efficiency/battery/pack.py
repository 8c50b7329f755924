"""The pack: energy that can still be drawn, from its state of charge and its resistance."""

import copy
import math
from dataclasses import replace
from typing import Any, Self

import numpy as np

from onboard.block import FloatArray
from onboard.chemistry import CHEMISTRIES
from onboard.contract.battery import BatteryState, LearnedPack
from onboard.contract.commands import Amount
from onboard.contract.figure import reaching_up_to
from onboard.efficiency.battery.charge_count import ChargeCount
from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.earlier_resistance import EarlierResistance
from onboard.efficiency.battery.energy_left import UsableEnergy
from onboard.efficiency.battery.ocv_curve import OCV_CURVES
from onboard.efficiency.battery.pack_errors import SIZE, curve_given_shared, prior
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.battery.resistance import Resistance
from onboard.efficiency.common_practice import CELL_OHM_AH
from onboard.efficiency.sources.settled_seconds import Reading, SettledSeconds
from onboard.efficiency.statistics.shared_errors import (
    CAPACITY,
    COUNT,
    GAIN,
    Spread,
    interval,
    ratio,
)
from onboard.profile import Battery, Sensors

RATES = np.array([0.0, 0.15, 0.4, 1.0, 2.5, 6.0])
"""Powers at which uncertainty is computed, as multiples of the one-hour discharge power."""

PACK_DEGC: Reading = ("battery", "temperature_degc")
"""Temperature of the pack, for its resistance."""


class Pack:
    """The battery of one craft over a trip.

    Parameters
    ----------
    battery, sensors
        The profile's.
    """

    def __init__(self, battery: Battery, sensors: Sensors) -> None:
        self._battery = battery
        self._current_scale = sensors.current_scale
        self._ocv = OCV_CURVES[battery.chemistry]
        table_v = battery.cells * self._ocv.mean_v
        if battery.capacity_ah is None:
            assert battery.energy_wh is not None
            full_ah, self._scale = battery.energy_wh / table_v, float(battery.cells)
        else:
            full_ah, self._scale = battery.capacity_ah, float(battery.cells)
            if battery.energy_wh is not None:
                self._scale *= battery.energy_wh / (full_ah * table_v)
        self._full_ah = full_ah
        self.cutoff_v = battery.cutoff_v or battery.cells * CHEMISTRIES[battery.chemistry].cutoff_v
        usual_ohm = battery.resistance_ohm or CELL_OHM_AH * battery.cells / full_ah
        self._resistance = Resistance(usual_ohm, battery.resistance_ohm)
        begin = ChargeState(
            full_ah, battery.start_fraction, 0.0, 0.0, np.zeros(SIZE),
            prior(sensors, battery, self._ocv),
        )  # fmt: skip
        self.count = ChargeCount(battery, begin, self._scale, usual_ohm)
        self._rest_of = (float("nan"), 0.0)
        self._rest = np.empty(0), np.empty(0), np.empty(0)
        self._if_charged: Self | None = None
        self._spreads: dict[float, Spread] = {}
        """Energy left by power, since the pack's state last changed."""

    @property
    def covariance(self) -> FloatArray:
        """Covariance of the shared errors, shape (5, 5)."""
        return self.count.state.covariance[:COUNT, :COUNT]

    def fold(self, seconds: SettledSeconds) -> None:
        """Fold in settled seconds, in order."""
        self._changed()
        open_v = self.count.fold(seconds)
        degc = seconds.readings.get(PACK_DEGC)
        self._resistance.fold(seconds.volts_v, seconds.amps_a, open_v, degc)
        self._resistance.at(self.count.fraction())

    def charged_full(self) -> None:
        """Set the pack to full from now on."""
        self._changed()
        self.count.charged_full()

    def charged(self, amount: Amount) -> None:
        """Apply the rider's statement of a charge: none, how much, or how full; see `recharge`."""
        self._changed()
        self.count.charged(amount, self.full.value)

    def resume(self, kept: Any, away: Away, utc_s: float = math.nan) -> None:
        """Resume from an earlier pack's `as_dict`; see `ChargeCount.resume`."""
        self._changed()
        self.count.resume(kept, away, utc_s)
        if (resistance := kept.get("resistance")) is not None:
            self._resistance.resume(EarlierResistance.read(resistance))
            self._resistance.at(self.count.fraction())

    def as_dict(self, charge_ah: float | None = None, t_s: float | None = None) -> dict[str, Any]:
        """Return what outlasts this ride, in JSON's own types; see `ChargeCount.as_dict`."""
        earlier = self._resistance.earlier(self.count.fraction())
        resistance = None if earlier is None else earlier.as_dict()
        return {**self.count.as_dict(charge_ah, t_s), "resistance": resistance}

    def _changed(self) -> None:
        """Invalidate cached results after a change of state."""
        self._spreads.clear()
        self._if_charged = None

    @property
    def if_charged(self) -> Self | None:
        """The pack as if it had been charged full unseen; None if that is not in question."""
        if self.count.recharge_unknown_since_s is None:
            return None
        if self._if_charged is None:
            twin = copy.copy(self)
            twin._spreads, twin.count = {}, self.count.if_charged()
            self._if_charged = twin
        return self._if_charged

    @property
    def reserve_fraction(self) -> float:
        """Energy to reserve, as a share of full."""
        return self._battery.reserve_fraction

    def set_reserve(self, fraction: float) -> None:
        """Set the energy to reserve, as a share of full."""
        self._changed()
        self._battery = replace(self._battery, reserve_fraction=fraction)
        self._rest_of = (float("nan"), 0.0)

    def left(self, power_w: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the energy that can still be drawn at constant powers [W], shape (n,).

        Returns
        -------
        tuple of numpy.ndarray
            Energy [Wh] (n,), gradient along the shared errors (n, 5), own variance [Wh^2] (n,).
        """
        state, usable = self.count.state, self._usable()
        fraction, gradient = state.fraction(self.count.charge_ah, self.count.t_s)
        known = 1 + float(state.mean[CAPACITY])
        capacity = self._full_ah * known
        energy, volts = usable.left(fraction, power_w)
        slopes = capacity * volts[:, None] * gradient[:COUNT]
        slopes[:, CAPACITY] += capacity * energy / known
        at, by_curve, variance = self._by_curve(usable, fraction)
        slopes += capacity * np.stack([np.interp(power_w, at, one) for one in by_curve], axis=1)
        return capacity * energy, slopes, capacity**2 * np.interp(power_w, at, variance)

    def left_wh(self, power_w: float) -> float:
        """Return the energy that can still be drawn at one power [Wh], without its uncertainty."""
        state = self.count.state
        fraction, _ = state.fraction(self.count.charge_ah, self.count.t_s)
        energy, _ = self._usable().left(fraction, np.array([power_w]))
        return float(energy[0]) * self._full_ah * (1 + float(state.mean[CAPACITY]))

    def _usable(self) -> UsableEnergy:
        return UsableEnergy(
            self._ocv,
            self._scale,
            self._battery.reserve_fraction,
            self.cutoff_v,
            *self._resistance.lasting(),
        )

    def _by_curve(
        self, usable: UsableEnergy, fraction: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the shares of the energy's uncertainty due to the cells' curve and resistance.

        They change slowly, and are computed once a second.

        Returns
        -------
        tuple of numpy.ndarray
            Powers [W] (n,); gradient there along the shared errors, as far as these explain the
            curve's deviation, (5, n); and own variance (n,); both per unit of capacity.
        """
        key = (fraction, self.count.t_s)
        if self._rest_of != key:
            powers = RATES * self._full_ah * self._scale * self._ocv.mean_v
            coefficients, rest = curve_given_shared(self.count.state.covariance)
            slopes = usable.curve_gradient(fraction, powers)
            own = usable.variance(fraction, powers) + ((slopes @ rest) * slopes).sum(axis=1)
            self._rest_of, self._rest = key, (powers, (slopes @ coefficients).T, own)
        return self._rest

    def voltage_fall(self, power_w: float) -> float:
        """Return how far ln V falls, on the mean over the energy left at a power [W]; below 0."""
        fraction, _ = self.count.state.fraction(self.count.charge_ah, self.count.t_s)
        mean_v, now_v = self._usable().mean_volts(fraction, power_w)
        return min(math.log(mean_v / now_v), 0.0)

    def left_spread(self, power_w: float) -> Spread:
        """Return the energy that can still be drawn at one power [Wh]; cached."""
        if power_w not in self._spreads:
            energy, gradient, own = self.left(np.array([power_w]))
            self._spreads[power_w] = Spread(float(energy[0]), gradient[0], float(own[0]))
        return self._spreads[power_w]

    @property
    def full(self) -> Spread:
        """The pack's energy when full [Wh]."""
        table = self._full_ah * self._scale * self._ocv.mean_v
        full_wh = table * (1 + float(self.count.state.mean[CAPACITY]))
        gradient = np.zeros(COUNT)
        gradient[CAPACITY] = table
        return Spread(full_wh, gradient)

    @property
    def charge(self) -> Spread:
        """State of charge of the whole pack."""
        count = self.count
        fraction, gradient = count.state.fraction(count.charge_ah, count.t_s)
        return Spread(min(max(fraction, 0.0), 1.0), gradient[:COUNT])

    def summary(self, power_w: float) -> BatteryState:
        """Return the energy left at a power [W], with intervals."""
        left, full, covariance = self.left_spread(power_w), self.full, self.covariance
        share = ratio(left, full)
        now = BatteryState(
            left.figure(covariance, 0.0),
            share.figure(covariance, 0.0, 1.0),
            self.charge.figure(covariance, 0.0, 1.0),
            self._resistance.immediate.figure(),
            self.learned(),
        )
        if self.if_charged is None:
            return now
        charged = self.if_charged.summary(power_w)
        return replace(
            now,
            left_wh=reaching_up_to(now.left_wh, charged.left_wh),
            left_fraction=reaching_up_to(now.left_fraction, charged.left_fraction),
            charge_fraction=reaching_up_to(now.charge_fraction, charged.charge_fraction),
        )

    def learned(self) -> LearnedPack:
        """Return what was learned of the pack and its current sensor, in earlier rides too."""
        state, gain, charges = self.count.with_gain()
        covariance = state.covariance
        counted = np.zeros(COUNT)
        counted[CAPACITY], counted[GAIN] = self._full_ah, -self._full_ah
        capacity = Spread(self._full_ah * (1 + float(state.mean[CAPACITY])), counted)
        scale, sd = self._current_scale * (1 + gain), math.sqrt(covariance[GAIN, GAIN])
        return LearnedPack(
            capacity.figure(covariance[:COUNT, :COUNT], 0.0),
            self.count.rests,
            interval(scale, scale * sd, 0.0),
            charges,
        )

    @property
    def contradicted(self) -> bool:
        """Whether a rested voltage contradicted the stated state of charge."""
        return self.count.state.contradicted
