"""The resistance that an earlier ride measured, as it may be now: warmer, emptier, less sure."""

import math
from dataclasses import asdict
from typing import Any, Self

from onboard.dataclass import dataclass
from onboard.efficiency.battery.learned_practice import (
    DEGC_SD,
    EARLIER_OHM_SD_FRACTION,
    OHM_BY_CHARGE_SD_FRACTION,
    OHM_PER_K,
    OHM_PER_K_SD,
)


@dataclass(frozen=True)
class EarlierResistance:
    """Resistance of a whole pack as measured, and the conditions.

    Parameters
    ----------
    immediate_ohm, immediate_sd_ohm
        Immediate resistance and its standard deviation.
    lasting_ohm, lasting_sd_ohm
        That to a sustained load.
    fraction
        State of charge.
    temperature_degc
        The pack's temperature; None where not reported.
    """

    immediate_ohm: float
    immediate_sd_ohm: float
    lasting_ohm: float
    lasting_sd_ohm: float
    fraction: float
    temperature_degc: float | None

    def immediate(self, fraction: float, degc: float) -> tuple[float, float]:
        """Return the immediate resistance now, with its standard deviation [ohm].

        Parameters
        ----------
        fraction
            State of charge.
        degc
            The pack's temperature [degC]; NaN where not reported.

        Examples
        --------
        >>> earlier = EarlierResistance(0.05, 0.001, 0.07, 0.002, 0.5, 25.0)
        >>> [round(value, 3) for value in earlier.immediate(0.5, 25.0)]
        [0.05, 0.008]
        >>> [round(value, 3) for value in earlier.immediate(0.5, 0.0)]
        [0.12, 0.049]
        """
        return self._now(self.immediate_ohm, self.immediate_sd_ohm, fraction, degc)

    def lasting(self, fraction: float, degc: float) -> tuple[float, float]:
        """Return the resistance to a sustained load now, as `immediate` does."""
        return self._now(self.lasting_ohm, self.lasting_sd_ohm, fraction, degc)

    def _now(self, ohm: float, sd_ohm: float, fraction: float, degc: float) -> tuple[float, float]:
        if self.temperature_degc is None or math.isnan(degc):
            times, by_heat = 1.0, OHM_PER_K * DEGC_SD
        else:
            warmer = degc - self.temperature_degc
            times, by_heat = math.exp(-OHM_PER_K * warmer), OHM_PER_K_SD * warmer
        by_charge = OHM_BY_CHARGE_SD_FRACTION * (fraction - self.fraction)
        relative = math.hypot(sd_ohm / ohm, EARLIER_OHM_SD_FRACTION, by_heat, by_charge)
        return times * ohm, times * ohm * relative

    def as_dict(self) -> dict[str, float | None]:
        """Return it in JSON's own types."""
        return asdict(self)

    @classmethod
    def read(cls, stated: Any) -> Self:
        """Parse a saved one.

        Raises
        ------
        ValueError
            If it is malformed or impossible.
        """
        try:
            immediate, immediate_sd, lasting, lasting_sd, fraction = numbers = [
                float(stated[name]) for name in NUMBERS
            ]
            degc = stated["temperature_degc"]
            known = 0.0 if degc is None else float(degc)
        except (KeyError, TypeError, ValueError):
            raise ValueError("the kept resistance is not readable") from None
        if not all(map(math.isfinite, (*numbers, known))) or min(numbers[:4]) <= 0.0:
            raise ValueError("the kept resistance cannot be")
        at = None if degc is None else known
        return cls(immediate, immediate_sd, lasting, lasting_sd, fraction, at)


NUMBERS = ("immediate_ohm", "immediate_sd_ohm", "lasting_ohm", "lasting_sd_ohm", "fraction")
