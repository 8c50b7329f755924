"""State of charge: counted from the start, anchored by the open-circuit voltage of a rested pack.

With the shared errors as unknowns, charge left = start + START - ((1 + GAIN) Q + OFFSET T) /
(C (1 + CAPACITY)). An anchor is a measurement of that through the chemistry's table. It corrects
START and CAPACITY; the sensors' own errors are only taken into account, with all that they share
with the others (a Schmidt-Kalman, or 'consider', filter).
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.battery.ocv_curve import OcvCurve
from onboard.efficiency.common_practice import (
    CONTRADICTED_CHARGE_SD,
    OCV_CONTRADICTION_SD,
    OCV_SHAPE_FACTOR,
)
from onboard.efficiency.statistics.shared_errors import (
    CAPACITY,
    COUNT,
    GAIN,
    OFFSET,
    START,
    VOLTAGE,
)

ROUNDING_V = 0.001


_NODES = np.linspace(-2.0, 2.0, 9)
_WEIGHTS = np.exp(-(_NODES**2) / 2) / np.exp(-(_NODES**2) / 2).sum()


@dataclass(frozen=True)
class ChargeState:
    """What is known of the charge.

    Parameters
    ----------
    full_ah
        Charge when full, as stated [Ah].
    start_fraction
        Charge at the start, as assumed.
    start_ah, start_s
        Charge drawn [Ah] and stream time [s] that are counted from.
    mean, covariance
        Of the shared errors, shapes (5,) and (5, 5); only START and CAPACITY are ever corrected.
    contradicted
        Whether a rested voltage contradicted what was assumed.
    """

    full_ah: float
    start_fraction: float
    start_ah: float
    start_s: float
    mean: FloatArray
    covariance: FloatArray
    contradicted: bool = False

    def fraction(self, charge_ah: float, t_s: float) -> tuple[float, FloatArray]:
        """Return the charge left as a share of full, and its gradient along the shared errors."""
        start = self.start_fraction + float(self.mean[START])
        capacity = self.full_ah * (1 + float(self.mean[CAPACITY]))
        drawn = charge_ah - self.start_ah
        gradient = np.zeros(COUNT)
        gradient[START] = 1.0
        gradient[CAPACITY] = drawn / capacity / (1 + float(self.mean[CAPACITY]))
        gradient[GAIN] = -drawn / capacity
        gradient[OFFSET] = -(t_s - self.start_s) / 3600.0 / capacity
        return start - drawn / capacity, gradient

    def anchored(
        self, chemistry: OcvCurve, cell_v: float, sd_v: float, charge_ah: float, t_s: float
    ) -> "ChargeState":
        """Return the state after the open-circuit voltage of a cell was seen [V].

        Parameters
        ----------
        chemistry
            The cells.
        cell_v, sd_v
            Voltage of a rested cell, and what is uncertain of it beside the table [V].
        charge_ah, t_s
            Charge drawn and stream time then.
        """
        state = self
        innovation, slope, variance = state._innovation(chemistry, cell_v, sd_v, charge_ah, t_s)
        total = float(slope @ state.covariance @ slope) + variance
        if innovation**2 > OCV_CONTRADICTION_SD**2 * total:
            covariance = state.covariance.copy()
            covariance[START, START] += CONTRADICTED_CHARGE_SD**2
            state = replace(state, covariance=covariance, contradicted=True)
            # The table is far from straight over so wide a span: closer and closer.
            for _ in range(3):
                state = replace(
                    state._updated(chemistry, cell_v, sd_v, charge_ah, t_s), covariance=covariance
                )._within(charge_ah, t_s)
            return state._updated(chemistry, cell_v, sd_v, charge_ah, t_s)._within(charge_ah, t_s)
        return state._updated(chemistry, cell_v, sd_v, charge_ah, t_s)

    def _within(self, charge_ah: float, t_s: float) -> "ChargeState":
        """Return the nearest state that is neither over full nor under empty."""
        fraction, _ = self.fraction(charge_ah, t_s)
        mean = self.mean.copy()
        mean[START] += min(max(fraction, 0.0), 1.0) - fraction
        return replace(self, mean=mean)

    def _updated(
        self, chemistry: OcvCurve, cell_v: float, sd_v: float, charge_ah: float, t_s: float
    ) -> "ChargeState":
        innovation, slope, variance = self._innovation(chemistry, cell_v, sd_v, charge_ah, t_s)
        total = float(slope @ self.covariance @ slope) + variance
        gain = self.covariance @ slope / total
        gain[[GAIN, OFFSET, VOLTAGE]] = 0.0
        rest = np.eye(COUNT) - np.outer(gain, slope)
        covariance = rest @ self.covariance @ rest.T + variance * np.outer(gain, gain)
        return replace(self, mean=self.mean + gain * innovation, covariance=covariance)

    def _innovation(
        self, chemistry: OcvCurve, cell_v: float, sd_v: float, charge_ah: float, t_s: float
    ) -> tuple[float, FloatArray, float]:
        """Return seen less expected voltage, its slopes and the variance of the seeing.

        The table is taken as the straight line that fits it best over what is held possible: on an
        LFP plateau, or around a bend, one point's slope would tell more than there is to know.
        """
        fraction, gradient = self.fraction(charge_ah, t_s)
        sd = math.sqrt(max(float(gradient @ self.covariance @ gradient), 1e-12))
        at = np.clip(fraction + sd * _NODES, 0.0, 1.0)
        volts = np.interp(at, chemistry.fraction, chemistry.ocv_v)
        spread = np.interp(at, chemistry.fraction, chemistry.sd_v)
        middle, centre = float(_WEIGHTS @ volts), float(_WEIGHTS @ at)
        off = at - centre
        steep = float(_WEIGHTS @ (off * volts)) / max(float(_WEIGHTS @ off**2), 1e-12)
        bend = volts - middle - steep * off
        variance = float(_WEIGHTS @ (bend**2 + (OCV_SHAPE_FACTOR * spread) ** 2))
        variance += sd_v**2 + ROUNDING_V**2
        slope = steep * gradient
        slope[VOLTAGE] -= cell_v
        return cell_v - (middle + steep * (fraction - centre)), slope, variance

    def moved_to(self, charge_ah: float, t_s: float) -> "ChargeState":
        """Return the same knowledge, counted from a later moment on."""
        fraction, gradient = self.fraction(charge_ah, t_s)
        turn = np.eye(COUNT)
        turn[START] = gradient
        mean = self.mean.copy()
        mean[START] = 0.0
        covariance = turn @ self.covariance @ turn.T
        return replace(
            self, start_fraction=fraction, start_ah=charge_ah, start_s=t_s, mean=mean,
            covariance=covariance,
        )  # fmt: skip
