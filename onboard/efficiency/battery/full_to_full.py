"""The current sensor's gain from a charger's meter: counted from full to full, and put back.

Between two full charges a pack gives what the charger puts back, whatever its capacity and its
cells. So this determines the gain alone, and only a meter does: a rested voltage shows no more than
capacity over gain. Every charge in between must have been metered, beside the pack.
"""

import math
from dataclasses import asdict, astuple, fields, replace
from typing import Any, Self

import numpy as np

from onboard.contract.commands import Amount
from onboard.dataclass import dataclass
from onboard.efficiency.battery.charge_state import ChargeState
from onboard.efficiency.battery.learned_practice import (
    CHARGER_CONTRADICTION_SD,
    METERED_LEAST_FRACTION,
    SAME_CHARGE_FRACTION,
)
from onboard.efficiency.battery.pack_errors import LOSS, METER, SIZE
from onboard.efficiency.battery.round_trip import CHARGE_SD_FRACTION, pack_loss
from onboard.efficiency.common_practice import (
    FULL_SD_FRACTION,
    METER_SD_FRACTION,
    UNLOGGED_MOST_FRACTION,
)
from onboard.efficiency.statistics.shared_errors import CAPACITY, GAIN, OFFSET, START, VOLTAGE

CORRECTED = [START, CAPACITY, GAIN]
"""Errors that a gain corrects: where capacity over gain is known, the capacity moves along."""


@dataclass(frozen=True)
class GainReading:
    """The gain as one discharge from full and the charges since show it.

    Parameters
    ----------
    gain
        True over corrected current, less 1.
    sd
        Standard deviation of what differs from one time to the next.
    meter_sd
        That of what is the same every time: the meter's error, and what a pack gives back.
    hours_per_ah
        Time counted over charge counted [h/Ah]: the share of the sensor's offset.
    loss_sd
        Where energies were compared: that of the pack's loss, which is the same every time too, and
        the voltage sensor has a share; else 0.
    """

    gain: float
    sd: float
    meter_sd: float
    hours_per_ah: float
    loss_sd: float

    def applied(self, state: ChargeState) -> ChargeState:
        """Return the state corrected by this reading; as it is if the reading contradicts it."""
        slope = np.zeros(SIZE)
        slope[GAIN], slope[OFFSET] = 1.0, self.hours_per_ah
        slope[METER], slope[LOSS] = self.meter_sd, self.loss_sd
        slope[VOLTAGE] = float(self.loss_sd > 0.0)
        innovation = self.gain - float(state.mean[GAIN])
        total = float(slope @ state.covariance @ slope) + self.sd**2
        if innovation**2 > CHARGER_CONTRADICTION_SD**2 * total:
            return state
        return state.updated(innovation, slope, self.sd**2, CORRECTED)

    def as_list(self) -> list[float]:
        """Return the reading in JSON's own types."""
        return list(astuple(self))

    @classmethod
    def read(cls, stated: Any) -> Self:
        """Parse a saved reading.

        Raises
        ------
        ValueError, TypeError
            If it is malformed or impossible.
        """
        reading = cls(*(float(value) for value in stated))
        if not all(map(math.isfinite, astuple(reading))) or reading.sd <= 0.0:
            raise ValueError("the kept gain cannot be")
        return reading


@dataclass
class SinceFull:
    """Discharge counted, and charge put back, since the pack was last full.

    Parameters
    ----------
    charge_ah
        Counted, gaps included.
    measured_ah, measured_wh
        Charge and energy of the seconds in which both were measured.
    hours_h
        Time for which the sensor counted.
    put_ah, put_wh
        Put back by a charger, by its meter; only one of them is used.
    """

    charge_ah: float = 0.0
    measured_ah: float = 0.0
    measured_wh: float = 0.0
    hours_h: float = 0.0
    put_ah: float = 0.0
    put_wh: float = 0.0

    def reading(self, chemistry: str, full_ah: float) -> GainReading | None:
        """Return the gain, now that the pack is full again; None if this does not show it.

        Parameters
        ----------
        chemistry
            One of `CHEMISTRIES`.
        full_ah
            Charge of the full pack [Ah].

        Notes
        -----
        Nothing was drawn uncounted where the pack was disconnected, which every second rider does;
        else up to `UNLOGGED_MOST_FRACTION` of the pack, uniformly: a quarter of that on the mean.

        Examples
        --------
        >>> round(SinceFull(14.85, 14.0, 700.0, 2.0, put_ah=15.0).reading("lfp", 20.0).gain, 4)
        0.0067
        """
        if self.charge_ah < METERED_LEAST_FRACTION * full_ah or bool(self.put_ah) == bool(
            self.put_wh
        ):
            return None
        most_ah = UNLOGGED_MOST_FRACTION * full_ah
        both_ends_ah = math.sqrt(2.0) * FULL_SD_FRACTION * full_ah
        own_ah = math.hypot(both_ends_ah, most_ah * math.sqrt(1 / 6 - 1 / 16))
        back_ah, loss_sd = self.put_ah, 0.0
        if self.put_wh:
            if self.measured_ah <= 0.0 or self.measured_wh <= 0.0:
                return None
            loss = pack_loss(chemistry)
            back_ah = self.put_wh / (1.0 + loss.fraction) * self.measured_ah / self.measured_wh
            loss_sd = loss.sd
        return GainReading(
            (back_ah - most_ah / 4) / self.charge_ah - 1.0,
            own_ah / self.charge_ah,
            math.hypot(METER_SD_FRACTION, CHARGE_SD_FRACTION),
            self.hours_h / self.charge_ah,
            loss_sd,
        )

    def as_dict(self) -> dict[str, float]:
        """Return it in JSON's own types."""
        return asdict(self)

    @classmethod
    def read(cls, stated: Any) -> Self:
        """Parse a saved one.

        Raises
        ------
        ValueError, TypeError, KeyError
            If it is malformed or impossible.
        """
        values = [float(stated[one.name]) for one in fields(cls)]
        if not all(map(math.isfinite, values)):
            raise ValueError("the kept discharge since full cannot be")
        return cls(*values)


@dataclass(frozen=True)
class ChargerLoop:
    """What was counted and put back since the pack was full, and what full charges have shown.

    Parameters
    ----------
    chemistry
        One of `CHEMISTRIES`.
    full_ah
        Charge of the full pack [Ah].
    since_full
        Since the pack was last full; None if that is not known, or an unmetered charge came after.
    before_full
        The same as of that full charge, should the meter's reading be stated after it.
    readings
        The gains found, not yet in the state.
    """

    chemistry: str
    full_ah: float
    since_full: SinceFull | None = None
    before_full: SinceFull | None = None
    readings: tuple[GainReading, ...] = ()

    def count(self, charge_ah: float, amps_a: float, power_w: float) -> None:
        """Count a second: charge drawn [Ah], and means of current and power, NaN in a gap."""
        since = self.since_full
        if since is None:
            return
        since.charge_ah += charge_ah
        since.hours_h += 1.0 / 3600.0
        if not math.isnan(power_w):
            since.measured_ah += amps_a / 3600.0
            since.measured_wh += power_w / 3600.0

    def drawn(self, charge_ah: float) -> Self:
        """Return it after a charge that another counter counted [Ah]."""
        if self.since_full is None:
            return self
        return self._with(replace(self.since_full, charge_ah=self.since_full.charge_ah + charge_ah))

    def broken(self) -> Self:
        """Return it after a charge without a meter, that did not fill the pack."""
        return replace(self, since_full=None, before_full=None)

    def full(self) -> Self:
        """Return it after the pack was charged full."""
        since = self.since_full
        if since is not None and self._is_hardly(since) and not (since.put_ah or since.put_wh):
            # Said twice.
            return self
        after = replace(self, since_full=SinceFull(), before_full=since)
        return after if since is None else after._read(since)

    def put(self, amount: Amount) -> Self:
        """Return it after a metered charge of a stated amount, of charge or energy."""
        kind, value = amount
        name = "put_ah" if kind == "charged_ah" else "put_wh"

        def put(into: SinceFull) -> SinceFull:
            return replace(into, **{name: getattr(into, name) + value})

        since, before = self.since_full, self.before_full
        if since is None:
            return self
        if before is not None and self._is_hardly(since):
            return self._read(put(before))
        return self._with(put(since))

    def _read(self, since_full: SinceFull) -> Self:
        reading = since_full.reading(self.chemistry, self.full_ah)
        if reading is None:
            return self
        return replace(self, before_full=None, readings=(*self.readings, reading))

    def _with(self, since_full: SinceFull) -> Self:
        return replace(self, since_full=since_full)

    def _is_hardly(self, since: SinceFull) -> bool:
        return since.charge_ah <= SAME_CHARGE_FRACTION * self.full_ah
