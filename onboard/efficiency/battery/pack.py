"""The pack: what can still be drawn from it, by its charge and its resistance."""

import copy
import math
from dataclasses import replace
from typing import Any, Self

import numpy as np

from onboard.block import FloatArray
from onboard.contract.commands import Amount
from onboard.contract.figure import reaching_up_to
from onboard.contract.snapshot import BatteryState
from onboard.efficiency.battery.charge_count import ChargeCount
from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.chemistry import CHEMISTRIES
from onboard.efficiency.battery.energy_left import Cellar
from onboard.efficiency.battery.recharge import Away
from onboard.efficiency.battery.resistance import Resistance
from onboard.efficiency.sources.settled_seconds import SettledSeconds
from onboard.efficiency.statistics.shared_errors import (
    CAPACITY,
    COUNT,
    Spread,
    prior_covariance,
    ratio,
)
from onboard.profile import Battery, Sensors

USUAL_OHM_AH = 0.1
"""Resistance of a cell times its capacity, wiring included, until it is measured. Common practice,
no source."""

RATES = np.array([0.0, 0.15, 0.4, 1.0, 2.5, 6.0])
"""Powers, as multiples of what empties the pack in an hour, that uncertainty is worked out at."""


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
        self._full_ah = full_ah
        self.cutoff_v = battery.cutoff_v or battery.cells * self._chemistry.cutoff_v
        usual_ohm = battery.resistance_ohm or USUAL_OHM_AH * battery.cells / full_ah
        self._resistance = Resistance(usual_ohm, battery.resistance_ohm)
        begin = ChargeState(
            full_ah, battery.start_fraction, 0.0, 0.0, np.zeros(COUNT),
            prior_covariance(sensors, battery),
        )  # fmt: skip
        self.count = ChargeCount(battery, begin, self._scale, usual_ohm)
        self._variance_of = (float("nan"), 0.0)
        self._variance = np.empty(0), np.empty(0)
        self._if_charged: Self | None = None
        self._spreads: dict[float, Spread] = {}
        """What is left by power, since anything about the pack last changed."""

    @property
    def covariance(self) -> FloatArray:
        """Of the shared errors, shape (5, 5)."""
        return self.count.state.covariance

    def fold(self, seconds: SettledSeconds) -> None:
        """Take in settled seconds, in order."""
        self._changed()
        open_v = self.count.fold(seconds)
        self._resistance.fold(seconds.volts_v, seconds.amps_a, open_v)

    def charged_full(self) -> None:
        """Take the pack as full from now on."""
        self._changed()
        self.count.charged_full()

    def charged(self, amount: Amount) -> None:
        """Take in what the rider says of a charge: none, how much, or how full; see `recharge`."""
        self._changed()
        self.count.charged(amount, self.full.value)

    def resume(self, kept: Any, away: Away, utc_s: float = math.nan) -> None:
        """Carry on from what its count kept; see `ChargeCount.resume`."""
        self._changed()
        self.count.resume(kept, away, utc_s)

    def _changed(self) -> None:
        """Let go what was worked out of the pack as it was."""
        self._spreads.clear()
        self._if_charged = None

    @property
    def if_charged(self) -> Self | None:
        """The pack as if it had been charged full unseen; None where that is not open."""
        if self.count.unsaid_since_s is None:
            return None
        if self._if_charged is None:
            twin = copy.copy(self)
            twin._spreads, twin.count = {}, self.count.if_charged()
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
        """Return what can still be drawn at constant powers [W], shape (n,).

        Returns
        -------
        tuple of numpy.ndarray
            Energy [Wh] (n,), gradient along the shared errors (n, 5), own variance [Wh^2] (n,).
        """
        state, cellar = self.count.state, self._cellar()
        fraction, gradient = state.fraction(self.count.charge_ah, self.count.t_s)
        known = 1 + float(state.mean[CAPACITY])
        capacity = self._full_ah * known
        energy, volts = cellar.left(fraction, power_w)
        slopes = capacity * volts[:, None] * gradient
        slopes[:, CAPACITY] += capacity * energy / known
        at, variance = self._own_variance(cellar, fraction)
        return capacity * energy, slopes, capacity**2 * np.interp(power_w, at, variance)

    def left_wh(self, power_w: float) -> float:
        """Return what can still be drawn at one power [Wh], without what is uncertain of it."""
        state = self.count.state
        fraction, _ = state.fraction(self.count.charge_ah, self.count.t_s)
        energy, _ = self._cellar().left(fraction, np.array([power_w]))
        return float(energy[0]) * self._full_ah * (1 + float(state.mean[CAPACITY]))

    def _cellar(self) -> Cellar:
        return Cellar(
            self._chemistry,
            self._scale,
            self._battery.energy_wh is not None,
            self._battery.reserve_fraction,
            self.cutoff_v,
            *self._resistance.lasting(),
        )

    def _own_variance(self, cellar: Cellar, fraction: float) -> tuple[FloatArray, FloatArray]:
        """Return powers and variances there; they change slowly with power, and once a second."""
        key = (fraction, self.count.t_s)
        if self._variance_of != key:
            powers = RATES * self._full_ah * self._scale * self._chemistry.mean_v
            self._variance_of = key
            self._variance = powers, cellar.variance(fraction, powers)
        return self._variance

    def left_spread(self, power_w: float) -> Spread:
        """Return what can still be drawn at one power [Wh]; asked for the same several times."""
        if power_w not in self._spreads:
            energy, gradient, own = self.left(np.array([power_w]))
            self._spreads[power_w] = Spread(float(energy[0]), gradient[0], float(own[0]))
        return self._spreads[power_w]

    @property
    def full(self) -> Spread:
        """The pack's energy when full [Wh]."""
        table = self._full_ah * self._scale * self._chemistry.mean_v
        full_wh = table * (1 + float(self.count.state.mean[CAPACITY]))
        gradient = np.zeros(COUNT)
        gradient[CAPACITY] = table
        return Spread(full_wh, gradient)

    def summary(self, power_w: float) -> BatteryState:
        """Return what is left at a power [W], with intervals."""
        left, full, covariance = self.left_spread(power_w), self.full, self.covariance
        share = ratio(left, full)
        now = BatteryState(
            left.figure(covariance, 0.0),
            share.figure(covariance, 0.0, 1.0),
            self._resistance.at_once.figure(),
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
        return self.count.state.contradicted
