"""The pack: what is left in it, by count, voltage and resistance."""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.cells import Cells
from onboard.efficiency.charge_state import ChargeState
from onboard.efficiency.chemistry import CHEMISTRIES
from onboard.efficiency.energy_left import Cellar
from onboard.efficiency.figure import Estimate
from onboard.efficiency.resistance import Slope
from onboard.efficiency.rest import Rested, RestFinder
from onboard.efficiency.shared_errors import CAPACITY, COUNT, START, Spread, prior_covariance, ratio
from onboard.profile import Battery, Sensors

AT_ONCE_S, LASTING_S = 2, 60

USUAL_OHM_AH, USUAL_SD_FRACTION = 0.1, 0.6
"""Resistance of a cell times its capacity, wiring included, until it is measured. Common practice,
no source."""

LASTING_OVER_QUICK, LASTING_SD_FRACTION = 1.3, 0.3
"""What a lasting load costs over what answers at once, until it is measured. Common practice, no
source."""

CHARGED_FULL_SD = 0.01
"""How full 'charged full' is. Common practice, no source."""


RATES = np.array([0.0, 0.15, 0.4, 1.0, 2.5, 6.0])
"""Powers, as multiples of what empties the pack in an hour, that uncertainty is worked out at."""

NEW_FRACTION = 0.25
"""A rested voltage tells something new after so much of full was drawn since the last: the table is
wrong by much the same before. Deviations of the three published cells from their mean correlate by
0.90 over 0.1 of the charge, 0.63 over 0.2, 0.21 over 0.3 (`tests/data/pybamm_ocv_soc.csv`)."""

UNSEEN_FRACTION = 0.03
"""What may have been drawn while nobody counted, as a share of full. Common practice, no source."""


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
        self._spreads: dict[float, Spread] = {}
        """What is left by power, since anything about the pack last changed."""

    @property
    def state(self) -> ChargeState:
        """The charge state, anchored by the present rest if there is one."""
        if self._rest is None:
            return self._before_rest
        rest = self._rest
        open_v = rest.volts_v + rest.amps_a * self._usual_ohm
        # The resistance is a guess here.
        sd_v = math.hypot(
            rest.sd_v, USUAL_SD_FRACTION * rest.amps_a * self._usual_ohm / self._battery.cells
        )
        return self._before_rest.anchored(
            self._chemistry, open_v / self._scale, sd_v, rest.charge_ah, rest.t_s
        )

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
        self._spreads.clear()
        if not self._began and len(cells):
            self._began = True
            # Set, not moved there: before the stream began nothing was counted wrongly.
            self._before_rest = replace(self._before_rest, start_s=float(cells.t_s[0]) - 1.0)
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
            rest = self._finder.take(*row)
            if self._rest is not None and rest is None:
                self._before_rest, self._anchored_ah = self.state, self._rest.charge_ah
            self._rest = rest if self._rest is not None or self._tells_anew(row[3]) else None
        if len(cells):
            self._charge_ah, self._t_s = float(charge[-1]), float(cells.t_s[-1])

    def _tells_anew(self, charge_ah: float) -> bool:
        """Tell whether the voltage would say more than the last one that was counted."""
        before = self._anchored_ah
        return before is None or abs(charge_ah - before) >= NEW_FRACTION * self._before_rest.full_ah

    def charged_full(self) -> None:
        """Take the pack as full from now on."""
        self._spreads.clear()
        state = self.state.moved_to(self._charge_ah, self._t_s)
        covariance = state.covariance.copy()
        covariance[START, :] = covariance[:, START] = 0.0
        covariance[START, START] = CHARGED_FULL_SD**2
        self._before_rest = ChargeState(
            state.full_ah, 1.0, self._charge_ah, self._t_s, state.mean, covariance
        )
        self._rest = self._anchored_ah = None

    @property
    def reserve_fraction(self) -> float:
        """Energy to keep, as a share of full."""
        return self._battery.reserve_fraction

    def set_reserve(self, fraction: float) -> None:
        """Set the energy to keep, as a share of full."""
        self._spreads.clear()
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
        return BatteryState(
            left.figure(covariance, 0.0),
            share.figure(covariance, 0.0, 1.0),
            self._at_once.figure(),
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

    def as_dict(self) -> dict[str, Any]:
        """Give what must outlast a restart of the daemon, in JSON's own types."""
        state = self.state.moved_to(self._charge_ah, self._t_s)
        anchored_ah = self._anchored_ah if self._rest is None else self._rest.charge_ah
        since = None if anchored_ah is None else (self._charge_ah - anchored_ah) / state.full_ah
        return {
            "since_anchor_fraction": since,
            "fraction": state.start_fraction,
            "capacity_error": float(state.mean[CAPACITY]),
            "covariance": state.covariance.tolist(),
            "contradicted": state.contradicted,
        }

    def resume(self, kept: Any, drawn_ah: float | None) -> None:
        """Carry on from what was kept.

        Parameters
        ----------
        kept
            From `as_dict`.
        drawn_ah
            Charge drawn meanwhile [Ah], None where nobody knows.

        Raises
        ------
        ValueError
            If it is not what `as_dict` gives.
        """
        try:
            fraction, error = float(kept["fraction"]), float(kept["capacity_error"])
            covariance = np.array(kept["covariance"], dtype=np.float64)
            contradicted = bool(kept["contradicted"])
            since = kept.get("since_anchor_fraction", 0.0)
            since = None if since is None else float(since)
        except (AttributeError, KeyError, TypeError, ValueError):
            raise ValueError("the kept battery state is not readable") from None
        if not (
            _is_covariance(covariance)
            and -0.5 <= fraction <= 1.5
            and abs(error) < 0.9
            and (since is None or math.isfinite(since))
        ):
            raise ValueError("the kept battery state cannot be")
        self._spreads.clear()
        here = self._before_rest
        mean = np.zeros(COUNT)
        mean[CAPACITY] = error
        if drawn_ah is None:
            covariance[START, START] += UNSEEN_FRACTION**2
        before = ChargeState(here.full_ah, fraction, 0.0, 0.0, mean, covariance, contradicted)
        drawn = drawn_ah or 0.0
        # Moved as if counted: the sensors' errors are in what was drawn meanwhile, too.
        self._before_rest = replace(
            before.moved_to(drawn, 0.0), start_ah=here.start_ah, start_s=here.start_s
        )
        # The daemon began anew, not the pack: it may come from work, or be in a rest that counted.
        self._finder, self._rest = RestFinder(here.full_ah, loaded=True), None
        self._anchored_ah = None if since is None else here.start_ah - drawn - since * here.full_ah


def _is_covariance(matrix: FloatArray) -> bool:
    """Tell whether it can be the covariance of the shared errors."""
    if matrix.shape != (COUNT, COUNT) or not np.isfinite(matrix).all():
        return False
    tiny = 1e-9 * (1.0 + float(np.abs(matrix).max()))
    least = float(np.linalg.eigvalsh(matrix)[0])
    return bool(np.abs(matrix - matrix.T).max() <= tiny) and least >= -tiny
