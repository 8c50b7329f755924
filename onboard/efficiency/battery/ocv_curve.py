"""Open-circuit voltage (OCV) of a cell against its state of charge, as arrays to interpolate in."""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray
from onboard.chemistry import CHEMISTRIES, Chemistry

SUBDIVISIONS = 5
"""Grid steps per step of the table: fine enough to integrate energy by the trapezoidal rule."""


@dataclass(frozen=True)
class OcvCurve:
    """The open-circuit curve of one chemistry.

    Parameters
    ----------
    fraction
        State of charge, rising from 0 to 1 in equal steps, shape (n,).
    ocv_v
        Open-circuit voltage of a cell there [V], shape (n,).
    sd_v
        Its standard deviation between cells [V], shape (n,).
    """

    fraction: FloatArray
    ocv_v: FloatArray
    sd_v: FloatArray

    @property
    def mean_v(self) -> float:
        """Mean over a discharge without load [V]."""
        return float(np.trapezoid(self.ocv_v, self.fraction))

    def energy_fraction(self) -> FloatArray:
        """Return the share of the full energy that is left at each `fraction`."""
        steps = (self.ocv_v[1:] + self.ocv_v[:-1]) / 2 * np.diff(self.fraction)
        energy = np.concatenate([[0.0], np.cumsum(steps)])
        return np.asarray(energy / energy[-1], np.float64)

    def at_energy(self, energy_fraction: float) -> float:
        """Return the state of charge at which a share of the full energy is left.

        Examples
        --------
        >>> round(OCV_CURVES["li-ion"].at_energy(0.2), 3)
        0.22
        """
        return float(np.interp(energy_fraction, self.energy_fraction(), self.fraction))


def _curve(chemistry: Chemistry) -> OcvCurve:
    steps = len(chemistry.ocv_v) - 1
    coarse, fine = np.linspace(0, 1, steps + 1), np.linspace(0, 1, SUBDIVISIONS * steps + 1)
    return OcvCurve(
        fine,
        np.interp(fine, coarse, chemistry.ocv_v),
        np.interp(fine, coarse, chemistry.ocv_sd_v),
    )


OCV_CURVES = {name: _curve(chemistry) for name, chemistry in CHEMISTRIES.items()}
"""The curve of every row of `CHEMISTRIES`, by name."""
