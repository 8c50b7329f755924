"""Internal resistance from the voltage's response to current: regression of lagged differences.

Differences over two seconds show the immediate resistance, over a minute that to a sustained load.
"""

import math

import numpy as np

from onboard.block import FloatArray
from onboard.contract.figure import Estimate, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.battery.earlier_resistance import EarlierResistance
from onboard.efficiency.common_practice import (
    CURRENT_STEP_LEAST_A,
    LASTING_LAG_S,
    LASTING_OVER_QUICK,
    LASTING_SD_FRACTION,
    QUICK_LAG_S,
    RESISTANCE_MEMORY,
    RESISTANCE_OUTLIER_SD,
    RESISTANCE_STEPS_LEAST,
    STATED_OHM_SD_FRACTION,
    USUAL_OHM_SD_FRACTION,
    VOLTAGE_STEP_NOISE_V,
)
from onboard.efficiency.statistics.middle import median
from onboard.efficiency.statistics.shared_errors import interval

SD_OVER_MEDIAN = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution (tables)."""


class LagResistance:
    """Resistance from differences over one lag, with exponential forgetting.

    Parameters
    ----------
    lag_s
        Seconds over which differences are taken.
    stated_ohm
        The profile's resistance; None where it states none.
    """

    def __init__(self, lag_s: int, stated_ohm: float | None) -> None:
        self._lag_s = lag_s
        self.known = (
            None if stated_ohm is None else (stated_ohm, STATED_OHM_SD_FRACTION * stated_ohm)
        )
        """Resistance known beforehand and its standard deviation [ohm]; None if it is not."""
        self._past = np.empty((0, 3))
        self._xx = self._xy = self._rr = self._count = 0.0
        self._first: list[tuple[float, float]] = []
        self.started = False
        """Whether it has been measured."""

    def fold(self, volts_v: FloatArray, amps_a: FloatArray, expected_v: FloatArray) -> None:
        """Fold in seconds in order; arrays of shape (n,), NaN is unknown.

        Parameters
        ----------
        volts_v, amps_a
            Voltage [V] and current [A].
        expected_v
            Open-circuit voltage from the charge drawn [V]: its change is not due to resistance.
        """
        rows = np.concatenate([self._past, np.stack([volts_v - expected_v, amps_a, amps_a], 1)])
        self._past = rows[-self._lag_s :]
        steps = rows[self._lag_s :] - rows[: -self._lag_s]
        for dv, di in steps[np.abs(steps[:, 1]) > CURRENT_STEP_LEAST_A, :2].tolist():
            if math.isnan(dv):
                continue
            if self.started:
                ohm, noise = self._xy / self._xx, self._rr / self._count
                self._update(dv, di, ohm, max(noise, (VOLTAGE_STEP_NOISE_V / 10) ** 2))
                continue
            self._first.append((dv, di))
            if len(self._first) == RESISTANCE_STEPS_LEAST:
                self._start()

    def _start(self) -> None:
        ohm = median([-dv / di for dv, di in self._first])
        off = [abs(dv + ohm * di) for dv, di in self._first]
        spread = SD_OVER_MEDIAN * median(off)
        for dv, di in self._first:
            self._update(dv, di, ohm, max(spread, VOLTAGE_STEP_NOISE_V) ** 2)
        self._first, self.started = [], True

    def _update(self, dv: float, di: float, ohm: float, noise: float) -> None:
        off, limit = dv + ohm * di, RESISTANCE_OUTLIER_SD**2 * noise
        self._rr += min(off * off, limit) if self.started else noise
        if off * off > limit:
            return
        keep = 1.0 - 1.0 / RESISTANCE_MEMORY
        self._xx = keep * self._xx + di * di
        self._xy = keep * self._xy - dv * di
        self._rr, self._count = keep * self._rr, keep * self._count + 1.0

    def value_and_sd(self) -> tuple[float, float] | None:
        """Return the resistance and its standard deviation [ohm]; None while unknown."""
        weight = total = 0.0
        if self.known is not None:
            weight = 1.0 / self.known[1] ** 2
            total = weight * self.known[0]
        if self.started:
            # Neighbouring differences share most of their seconds: one per lag is independent.
            variance = self._rr / self._count / self._xx * self._lag_s
            measured = 1.0 / max(variance, 1e-12)
            weight, total = weight + measured, total + measured * self._xy / self._xx
        if weight == 0.0:
            return None
        return max(total / weight, 0.0), 1.0 / math.sqrt(weight)

    def figure(self) -> Estimate:
        """Return the resistance [ohm] with its interval."""
        known = self.value_and_sd()
        if known is None:
            return Unknown(Reason.NO_RESISTANCE)
        return interval(*known, 0.0)


class Resistance:
    """Resistance of a whole pack, immediate and to a sustained load.

    Parameters
    ----------
    usual_ohm
        Guess for such a pack until measured [ohm].
    stated_ohm
        The profile's resistance; None where it states none.
    """

    def __init__(self, usual_ohm: float, stated_ohm: float | None) -> None:
        self._usual_ohm = usual_ohm
        self.immediate = LagResistance(QUICK_LAG_S, stated_ohm)
        self._lasting = LagResistance(LASTING_LAG_S, stated_ohm)
        self._earlier: EarlierResistance | None = None
        self._degc = math.nan

    def fold(
        self,
        volts_v: FloatArray,
        amps_a: FloatArray,
        expected_v: FloatArray,
        degc: FloatArray | None = None,
    ) -> None:
        """Fold in seconds in order; see `LagResistance.fold`.

        Parameters
        ----------
        volts_v, amps_a, expected_v
            As there.
        degc
            The pack's temperature [degC], NaN where not reported, shape (n,); None for no such
            reading at all.
        """
        self.immediate.fold(volts_v, amps_a, expected_v)
        self._lasting.fold(volts_v, amps_a, expected_v)
        if degc is not None and len(known := degc[np.isfinite(degc)]):
            self._degc = float(known[-1])

    def resume(self, earlier: EarlierResistance) -> None:
        """Begin with what an earlier ride measured."""
        self._earlier = earlier

    def at(self, fraction: float) -> None:
        """Set what an earlier ride showed for the present temperature and state of charge."""
        if self._earlier is not None:
            self.immediate.known = self._earlier.immediate(fraction, self._degc)
            self._lasting.known = self._earlier.lasting(fraction, self._degc)

    def earlier(self, fraction: float) -> EarlierResistance | None:
        """Return what the next ride should begin with; None if nothing was measured yet."""
        quick = self.immediate.value_and_sd()
        if not self.immediate.started or quick is None or quick[0] <= 0.0:
            return self._earlier
        degc = None if math.isnan(self._degc) else self._degc
        return EarlierResistance(*quick, *self.lasting(), fraction, degc)

    def lasting(self) -> tuple[float, float]:
        """Return the resistance to a sustained load and its standard deviation [ohm]."""
        lasting, quick = self._lasting.value_and_sd(), self.immediate.value_and_sd()
        if quick is None:
            guess, sd = self._usual_ohm, USUAL_OHM_SD_FRACTION * self._usual_ohm
        else:
            guess, sd = LASTING_OVER_QUICK * quick[0], LASTING_SD_FRACTION * quick[0] + 1e-5
        if lasting is None:
            return guess, sd
        weights = 1.0 / max(lasting[1], 1e-5) ** 2, 1.0 / sd**2
        total = sum(weights)
        return (lasting[0] * weights[0] + guess * weights[1]) / total, 1.0 / math.sqrt(total)
