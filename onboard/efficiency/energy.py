"""Battery-side energy and charge: the trapezoid of volts times amps on the stream's time base."""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.curve import CumulativeCurve
from onboard.efficiency.gate import Gate
from onboard.profile import Sensors

SECONDS_PER_HOUR = 3600.0

GAP_S = 5.0
"""A step longer than this is bridged, not measured: a rider's power can change within seconds, and
autopilots send battery data at 1 Hz or more. Common practice, no source."""

VOLTS_MOST_V = 200.0
AMPS_MOST_A = 1000.0
"""Far above any craft of this size (5 kW); beyond them a sample is a fault, not a reading."""


class EnergyMeter:
    """Energy and charge of one power sensor.

    Parameters
    ----------
    sensors
        The craft's corrections: corrected current is `current_scale` times reported plus
        `current_offset_a`; corrected voltage is `voltage_scale` times reported.
    """

    def __init__(self, sensors: Sensors) -> None:
        self._sensors = sensors
        self.gate = Gate()
        self.energy_wh = CumulativeCurve()
        self.charge_ah = 0.0
        """Charge drawn so far [Ah]."""
        self.bridged_wh = 0.0
        """Energy over steps longer than `GAP_S`: the mean of both sides, not a measurement [Wh]."""
        self.measured_s = 0.0
        """Time covered by steps no longer than `GAP_S` [s]."""
        self._last = np.empty((0, 3))

    @property
    def volts_v(self) -> float:
        """The last corrected voltage [V], NaN before the first sample."""
        return float(self._last[-1, 1]) if len(self._last) else float("nan")

    @property
    def amps_a(self) -> float:
        """The last corrected current [A], positive out of the battery, NaN before the first."""
        return float(self._last[-1, 2]) if len(self._last) else float("nan")

    def fold(self, t_s: FloatArray, volts_v: FloatArray, amps_a: FloatArray) -> None:
        """Take in samples as reported; all arrays have shape (n,), NaN is unknown."""
        volts = self._sensors.voltage_scale * volts_v
        amps = self._sensors.current_scale * amps_a + self._sensors.current_offset_a
        possible = (volts > 0) & (volts < VOLTS_MOST_V) & (np.abs(amps) < AMPS_MOST_A)
        passed = self.gate.passes(t_s, np.isfinite(volts) & np.isfinite(amps), possible)
        rows = np.concatenate([self._last, np.stack([t_s, volts, amps], axis=1)[passed]])
        if not len(rows):
            return
        fresh = len(self._last)
        self._last = rows[-1:].copy()
        step_s = np.diff(rows[:, 0])
        power = rows[:, 1] * rows[:, 2]
        energy = step_s * (power[1:] + power[:-1]) / (2 * SECONDS_PER_HOUR)
        charge = step_s * (rows[1:, 2] + rows[:-1, 2]) / (2 * SECONDS_PER_HOUR)
        bridged = step_s > GAP_S
        self.charge_ah += float(charge.sum())
        self.bridged_wh += float(energy[bridged].sum())
        self.measured_s += float(step_s[~bridged].sum())
        increments = energy if fresh else np.concatenate([[0.0], energy])
        self.energy_wh.extend(rows[fresh:, 0], increments)
