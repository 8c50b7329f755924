"""State of charge: a Schmidt-Kalman filter that counts charge and is corrected by rested voltages.

States. The filter estimates no time series but errors. Those that all figures share
(`statistics.shared_errors`): START, the state of charge at the count's start; CAPACITY, the
relative error of the stated capacity C; GAIN and OFFSET of the current sensor; VOLTAGE, the
relative error of the voltage sensor. And the pack's own (`pack_errors`): METER of the charger, and
CURVE, how these cells deviate from the table. With Q the charge drawn and T the time since the
start, the state of charge is

    x = start + START - ((1 + GAIN) Q + OFFSET T) / (C (1 + CAPACITY)).

Prediction. Counting is exact apart from these errors, so there is no process noise: the covariance
of x follows from that of the errors through the gradient of x, and grows with Q and T by itself.
Unmeasured time adds to START (`recharge`).

Measurement. The voltage of a rested pack (`rest`) is its open-circuit voltage: OCV(x) + CURVE(x) is
the measured one times (1 + VOLTAGE). The OCV curve is linearised by the straight line that fits it
best over the probable states of charge, not by its slope at one point: on an LFP plateau or around
a bend that slope would claim more information than there is. The misfit of that line and the
settling of the voltage make up the measurement variance.

Correction. START and CAPACITY are updated; all other errors are only 'considered': their gain is
set to zero and the covariance is propagated in Joseph form, so that the correlation of the state
with them is retained in every interval that both enter. So rests at the same charge, ride after
ride, do not average out the deviation of these cells from the table, and the capacity is known as
well as the curve is. The curve is not corrected: the prior knows how far cells deviate from the
table, but not in which shapes, and a filter that fits the shape takes it for capacity. (Sixty packs
of six published cells, thirty rides each: with the deviation as noise of each rest, capacity was
4.6 % off, rms, at a stated 2.6 %, and its interval held in 72 %; considered, 3.2 %, 2.9 % and 93 %.
A trial filter that corrected the curve as well held capacity over gain in 54 to 83 %.) An
innovation beyond `OCV_CONTRADICTION_SD` contradicts the assumed start; START is then widened and
the update iterated, since the curve is far from straight over so wide a span.

Recharge. Whether a pack was charged while nothing measured it is a discrete question, which no
covariance can express. `charge_count` follows the lower hypothesis and the open question,
`recharge` answers it from a rested voltage or from the rider, and `pack` extends each interval up
to that of the full pack while it is open.
"""

import math
from dataclasses import replace

import numpy as np

from onboard.block import FloatArray
from onboard.dataclass import dataclass
from onboard.efficiency.battery.ocv_curve import OcvCurve
from onboard.efficiency.battery.pack_errors import CURVE, SIZE
from onboard.efficiency.common_practice import CONTRADICTED_CHARGE_SD, OCV_CONTRADICTION_SD
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN, OFFSET, START, VOLTAGE

CORRECTED = [START, CAPACITY]
"""Errors that a rested voltage corrects; the others are considered."""

ROUNDING_V = 0.001
"""Resolution of a reported cell voltage [V]."""

_NODES = np.linspace(-2.0, 2.0, 9)
_WEIGHTS = np.exp(-(_NODES**2) / 2) / np.exp(-(_NODES**2) / 2).sum()


@dataclass(frozen=True)
class ChargeState:
    """Estimate of the state of charge.

    Parameters
    ----------
    full_ah
        Charge when full, as stated [Ah].
    start_fraction
        State of charge at the start, as assumed.
    start_ah, start_s
        Charge drawn [Ah] and stream time [s] at the start of the count.
    mean, covariance
        Of the pack's errors, shapes (SIZE,) and (SIZE, SIZE).
    contradicted
        Whether a rested voltage contradicted the assumption.
    """

    full_ah: float
    start_fraction: float
    start_ah: float
    start_s: float
    mean: FloatArray
    covariance: FloatArray
    contradicted: bool = False

    def fraction(self, charge_ah: float, t_s: float) -> tuple[float, FloatArray]:
        """Return the state of charge and its gradient along the errors, shape (SIZE,)."""
        start = self.start_fraction + float(self.mean[START])
        capacity = self.full_ah * (1 + float(self.mean[CAPACITY]))
        drawn = charge_ah - self.start_ah
        gradient = np.zeros(SIZE)
        gradient[START] = 1.0
        gradient[CAPACITY] = drawn / capacity / (1 + float(self.mean[CAPACITY]))
        gradient[GAIN] = -drawn / capacity
        gradient[OFFSET] = -(t_s - self.start_s) / 3600.0 / capacity
        return start - drawn / capacity, gradient

    def anchored(
        self, ocv: OcvCurve, cell_v: float, sd_v: float, charge_ah: float, t_s: float
    ) -> "ChargeState":
        """Return the state updated by the open-circuit voltage of a cell.

        Parameters
        ----------
        ocv
            Open-circuit curve of the cells.
        cell_v, sd_v
            Voltage of a rested cell, and its standard deviation in addition to the curve's [V].
        charge_ah, t_s
            Charge drawn [Ah] and stream time [s] then.
        """
        state = self
        innovation, slope, variance = state._innovation(ocv, cell_v, sd_v, charge_ah, t_s)
        total = float(slope @ state.covariance @ slope) + variance
        if innovation**2 > OCV_CONTRADICTION_SD**2 * total:
            covariance = state.covariance.copy()
            covariance[START, START] += CONTRADICTED_CHARGE_SD**2
            state = replace(state, covariance=covariance, contradicted=True)
            # The curve is far from straight over so wide a span: iterate.
            for _ in range(3):
                state = replace(
                    state._updated(ocv, cell_v, sd_v, charge_ah, t_s), covariance=covariance
                )._within(charge_ah, t_s)
            return state._updated(ocv, cell_v, sd_v, charge_ah, t_s)._within(charge_ah, t_s)
        return state._updated(ocv, cell_v, sd_v, charge_ah, t_s)

    def _within(self, charge_ah: float, t_s: float) -> "ChargeState":
        """Return the state clipped to between empty and full."""
        fraction, _ = self.fraction(charge_ah, t_s)
        mean = self.mean.copy()
        mean[START] += min(max(fraction, 0.0), 1.0) - fraction
        return replace(self, mean=mean)

    def _updated(
        self, ocv: OcvCurve, cell_v: float, sd_v: float, charge_ah: float, t_s: float
    ) -> "ChargeState":
        measured = self._innovation(ocv, cell_v, sd_v, charge_ah, t_s)
        return self.updated(*measured, CORRECTED)

    def updated(
        self, innovation: float, slope: FloatArray, variance: float, corrected: list[int]
    ) -> "ChargeState":
        """Return the state after a measurement that corrects some errors and considers the others.

        Parameters
        ----------
        innovation, slope, variance
            Measured less predicted value, its gradient along the errors, and its own variance.
        corrected
            Indices of the errors to correct.
        """
        total = float(slope @ self.covariance @ slope) + variance
        gain = np.zeros(SIZE)
        gain[corrected] = self.covariance[corrected] @ slope / total
        rest = np.eye(SIZE) - np.outer(gain, slope)
        covariance = rest @ self.covariance @ rest.T + variance * np.outer(gain, gain)
        return replace(self, mean=self.mean + gain * innovation, covariance=covariance)

    def _innovation(
        self, ocv: OcvCurve, cell_v: float, sd_v: float, charge_ah: float, t_s: float
    ) -> tuple[float, FloatArray, float]:
        """Return measured less predicted voltage [V], its gradient and the variance [V^2].

        The curve is linearised over the probable states of charge by a weighted straight-line
        fit; see the module's page.
        """
        fraction, gradient = self.fraction(charge_ah, t_s)
        sd = math.sqrt(max(float(gradient @ self.covariance @ gradient), 1e-12))
        at = np.clip(fraction + sd * _NODES, 0.0, 1.0)
        volts = np.interp(at, ocv.fraction, ocv.ocv_v)
        middle, centre = float(_WEIGHTS @ volts), float(_WEIGHTS @ at)
        off = at - centre
        steep = float(_WEIGHTS @ (off * volts)) / max(float(_WEIGHTS @ off**2), 1e-12)
        bend = volts - middle - steep * off
        variance = float(_WEIGHTS @ bend**2) + sd_v**2 + ROUNDING_V**2
        slope = steep * gradient
        slope[VOLTAGE] -= cell_v
        slope[CURVE] = _WEIGHTS @ ocv.knot_v(at)
        return cell_v - (middle + steep * (fraction - centre)), slope, variance

    def moved_to(self, charge_ah: float, t_s: float) -> "ChargeState":
        """Return the same estimate, counted from a later time."""
        fraction, gradient = self.fraction(charge_ah, t_s)
        turn = np.eye(SIZE)
        turn[START] = gradient
        mean = self.mean.copy()
        mean[START] = 0.0
        covariance = turn @ self.covariance @ turn.T
        return replace(
            self, start_fraction=fraction, start_ah=charge_ah, start_s=t_s, mean=mean,
            covariance=covariance,
        )  # fmt: skip
