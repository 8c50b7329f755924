"""Battery-side energy and charge: the trapezoid of volts times amps over stream time.

Over a gap the autopilot's own counters supply the energy drawn, if it has them; otherwise the mean
of both sides is used, and counted as bridged.
"""

import numpy as np

from onboard.block import FloatArray
from onboard.efficiency.common_practice import (
    AMPS_MOST_A,
    BRIDGE_POWER_SD_FRACTION,
    BRIDGE_UNSEEN_S,
    BRIEF_S,
    GAP_S,
    VOLTS_MOST_V,
)
from onboard.efficiency.meters.cumulative import CumulativeCurves
from onboard.efficiency.meters.gate import Gate
from onboard.efficiency.meters.lone_samples import LoneSamples
from onboard.efficiency.meters.source_rules import Coverage
from onboard.profile import Sensors

SECONDS_PER_HOUR = 3600.0

COUNTER_STEP_AH = 0.002
"""Charge that may flow without the autopilot's counters moving [Ah]: they count in 1 mAh steps."""


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
        self.lone = LoneSamples()
        self.has_current = False
        """Whether a current was ever reported."""
        self.curves = CumulativeCurves(
            "energy_wh", "charge_ah", "volt_hours", "measured_s", "counted_ah"
        )
        """Energy, charge, time integral of voltage, time covered by steps that are not gaps, and
        charge by the autopilot's own counter, if it has one."""
        self.bridged_wh = 0.0
        """Energy over gaps that no counter covers, from the mean of both sides [Wh]."""
        self.bridged_variance_wh2 = 0.0
        """Variance of that estimate [Wh^2]."""
        self.counted_wh = 0.0
        """Energy over gaps that the autopilot's counters cover [Wh]."""
        self._squares = 0.0
        self._plugged_in_s = -np.inf
        """Total time covered at which an unplugged pack counts as plugged in again [s]."""
        self._counter_ah = float("nan")
        self.counter_began_ah = float("nan")
        """Reading of that counter, corrected, when counting began here [Ah]; NaN without one."""
        self.seen = Coverage()
        """Time covered by possible samples, whether or not they turn out to be lone ones."""
        self._last = np.empty((5, 0))

    @property
    def counter_ah(self) -> float:
        """The autopilot's own charge counter, corrected [Ah], NaN where it has none."""
        return self._sensors.current_scale * self._counter_ah

    @property
    def last_seen_s(self) -> float:
        """Stream time of the newest sample that may count [s]; minus infinity before the first."""
        last_s = -np.inf if self.curves.last_s is None else self.curves.last_s
        return max(last_s, self.lone.waiting_s or -np.inf)

    def unplug(self) -> None:
        """Stop bridging: the pack supplies nothing until it has been active again for a while."""
        self.lone.forget()
        self._last = np.empty((5, 0))
        self._plugged_in_s = self.curves.total("measured_s") + BRIEF_S

    @property
    def volts_v(self) -> float:
        """Newest corrected voltage [V], NaN before the first sample."""
        return float(self._last[1, -1]) if self._last.size else float("nan")

    @property
    def amps_a(self) -> float:
        """Newest corrected current [A], positive out of the battery, NaN before the first."""
        return float(self._last[2, -1]) if self._last.size else float("nan")

    def fold(
        self,
        t_s: FloatArray,
        volts_v: FloatArray,
        amps_a: FloatArray,
        charge_out_ah: FloatArray | None = None,
        energy_out_wh: FloatArray | None = None,
    ) -> None:
        """Fold samples as reported; all arrays have shape (n,), NaN is unknown.

        Parameters
        ----------
        t_s
            Stream time [s].
        volts_v, amps_a
            Voltage [V] and current [A].
        charge_out_ah, energy_out_wh
            The autopilot's counters of charge [Ah] and energy [Wh] drawn since power-up.
        """
        new = self._counting(t_s, volts_v, amps_a, charge_out_ah, energy_out_wh)
        if not new.size:
            return
        rows = np.concatenate([self._last, new], axis=1)
        fresh = self._last.size
        self._last = rows[:, -1:].copy()
        step_s = np.diff(rows[0])
        hours = step_s / SECONDS_PER_HOUR
        power = rows[1] * rows[2]
        middle_w = (power[1:] + power[:-1]) / 2
        energy = middle_w * hours
        charge = hours * (rows[2, 1:] + rows[2, :-1]) / 2
        gaps = step_s > GAP_S
        squares = np.cumsum(np.append(self._squares, np.where(gaps, 0, energy * middle_w)))
        self._squares = float(squares[-1])
        before = self.curves.total("energy_wh"), self.curves.total("measured_s")
        measured_s = np.where(gaps, 0.0, step_s)
        for n in np.flatnonzero(gaps).tolist():
            if before[1] + float(measured_s[:n].sum()) < self._plugged_in_s:
                charge[n] = energy[n] = 0.0
                continue
            counted = self._by_counters(rows[:, n], rows[:, n + 1])
            if counted is not None:
                charge[n], energy[n] = counted
                self.counted_wh += counted[1]
                continue
            trip_h = (before[1] + float(measured_s[:n].sum())) / SECONDS_PER_HOUR
            trip_wh = before[0] + float(energy[:n].sum()) - self.bridged_wh - self.counted_wh
            self.bridged_wh += float(energy[n])
            mean_w = trip_wh / trip_h if trip_h > 0 else float(middle_w[n])
            variance_w2 = float(squares[n]) / trip_h - mean_w**2 if trip_h > 0 else 0.0
            self.bridged_variance_wh2 += _bridge_variance(
                float(hours[n]), power[n : n + 2], max(variance_w2, 0.0)
            )
        increments = np.zeros((5, new.shape[1]))
        steps = increments[:, 0 if fresh else 1 :]
        steps[0], steps[1], steps[3] = energy, charge, measured_s
        steps[2] = hours * (rows[1, 1:] + rows[1, :-1]) / 2
        steps[4] = self._counted(rows, hours, charge)
        self.curves.extend(new[0], increments)

    def _counting(
        self,
        t_s: FloatArray,
        volts_v: FloatArray,
        amps_a: FloatArray,
        charge_out_ah: FloatArray | None,
        energy_out_wh: FloatArray | None,
    ) -> FloatArray:
        """Return the samples that count, corrected; the newest may wait for the next."""
        volts = self._sensors.voltage_scale * volts_v
        amps = self._sensors.current_scale * amps_a + self._sensors.current_offset_a
        self.has_current |= bool(np.any(np.isfinite(amps)))
        possible = (volts > 0) & (volts < VOLTS_MOST_V) & (np.abs(amps) < AMPS_MOST_A)
        passed = self.gate.passes(t_s, np.isfinite(volts) & np.isfinite(amps), possible)
        new = np.full((5, len(t_s)), np.nan)
        new[0], new[1], new[2] = t_s, volts, amps
        if charge_out_ah is not None:
            new[3] = charge_out_ah
        if energy_out_wh is not None:
            new[4] = energy_out_wh
        if not passed.all():
            new = new[:, passed]
        self.seen.fold(new[0])
        new, lone_s = self.lone.passes(new)
        self.gate.leave_out(lone_s)
        return new

    def _counted(self, rows: FloatArray, hours: FloatArray, charge_ah: FloatArray) -> FloatArray:
        """Return charge increments by the autopilot's counter, else by integration [Ah]."""
        counter = np.append(self._counter_ah, rows[3, 1:])
        finite = np.isfinite(counter)
        if not finite[1:].any() and not finite[0]:
            return charge_ah
        if not finite.all():
            known = np.where(finite, np.arange(len(counter)), 0)
            counter = counter[np.maximum.accumulate(known)]
        if np.isnan(self.counter_began_ah):
            first = int(np.argmax(finite))
            before_ah = self.curves.total("charge_ah") + float(charge_ah[:first].sum())
            self.counter_began_ah = self._sensors.current_scale * float(counter[first]) - before_ah
        self._counter_ah = float(counter[-1])
        sensors = self._sensors
        counted_ah = np.diff(counter)
        step = sensors.current_scale * counted_ah + sensors.current_offset_a * hours
        # Not known yet, or reset.
        unknown = np.isnan(step) | (counted_ah < -COUNTER_STEP_AH)
        return np.where(unknown, charge_ah, step)

    def _by_counters(self, before: FloatArray, after: FloatArray) -> tuple[float, float] | None:
        """Return corrected charge [Ah] and energy [Wh] over a gap by the counters, None without.

        A counter that decreased was reset, so it does not cover the time before; one that stood
        still although current flowed on both sides is not counting; one that jumped is faulty.
        """
        hours = float(after[0] - before[0]) / SECONDS_PER_HOUR
        volts, amps = (float(before[1] + after[1]) / 2, float(before[2] + after[2]) / 2)
        charge_out, energy_out = (after[3:] - before[3:]).tolist()
        scale, offset_a = self._sensors.current_scale, self._sensors.current_offset_a
        idle = amps * hours < COUNTER_STEP_AH
        has_charge = (charge_out > 0 or (idle and charge_out == 0)) and (
            charge_out < AMPS_MOST_A * hours
        )
        has_energy = (energy_out > 0 or (idle and energy_out == 0)) and (
            energy_out < AMPS_MOST_A * VOLTS_MOST_V * hours
        )
        if not (has_charge or has_energy):
            return None
        if not has_charge:
            charge_out = energy_out * self._sensors.voltage_scale / volts
        charge = scale * charge_out + offset_a * hours
        if not has_energy:
            return charge, charge * volts
        return charge, self._sensors.voltage_scale * scale * energy_out + offset_a * hours * volts


def _bridge_variance(hours: float, sides_w: FloatArray, variance_w2: float) -> float:
    """Return the variance of a gap's energy when bridged by the mean of both sides [Wh^2].

    Power within the gap may be any that occurred before: a share of its variance over the trip that
    grows with the gap; and it may have changed from one side's to the other's any time (uniform).
    """
    seconds = hours * SECONDS_PER_HOUR
    unseen = variance_w2 + (BRIDGE_POWER_SD_FRACTION * float(sides_w.mean())) ** 2
    between = float(sides_w[1] - sides_w[0]) ** 2 / 12
    return hours**2 * (unseen * seconds / (seconds + BRIDGE_UNSEEN_S) + between)
