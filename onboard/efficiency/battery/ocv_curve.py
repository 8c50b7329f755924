"""Open-circuit voltage (OCV) of a cell against its state of charge, as arrays to interpolate in."""

import numpy as np

from onboard.block import FloatArray
from onboard.chemistry import CHEMISTRIES, Chemistry
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import OCV_SHAPE_FACTOR

SUBDIVISIONS = 5
"""Grid steps per step of the table: fine enough to integrate energy by the trapezoidal rule."""

KNOTS: FloatArray = np.linspace(0.0, 1.0, 6)
"""States of charge at which the deviation of a pack's own cells from the table is described; linear
in between."""

SPREAD_FACTORS = {"li-ion": 1.25}
"""Standard deviation of other cells about the table over that of the cells it was made of, where it
is known: three cells state their spread poorly. Three further published Li-ion cells lie at 1.23 of
it (rms; `tests/data/pybamm_ocv_further.csv`). `OCV_SHAPE_FACTOR` stands in for the others."""


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
    spread_factor
        Factor on it for cells that the table was not made of.
    """

    fraction: FloatArray
    ocv_v: FloatArray
    sd_v: FloatArray
    spread_factor: float

    @property
    def mean_v(self) -> float:
        """Mean over a discharge without load [V]."""
        return float(np.trapezoid(self.ocv_v, self.fraction))

    def knot_v(self, fraction: FloatArray) -> FloatArray:
        """Return the change of voltage [V] with each knot's deviation, in standard deviations.

        Parameters
        ----------
        fraction
            States of charge, shape (n,).

        Returns
        -------
        numpy.ndarray
            Shape (n, knots).
        """
        near = 1.0 - np.abs(np.clip(fraction, 0.0, 1.0)[:, None] - KNOTS) / KNOTS[1]
        spread = self.spread_factor * np.interp(fraction, self.fraction, self.sd_v)
        return np.asarray(np.maximum(near, 0.0) * spread[:, None], np.float64)

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
        SPREAD_FACTORS.get(chemistry.name, OCV_SHAPE_FACTOR),
    )


OCV_CURVES = {name: _curve(chemistry) for name, chemistry in CHEMISTRIES.items()}
"""The curve of every row of `CHEMISTRIES`, by name."""
