"""Cell chemistries: open-circuit voltage over the charge left, and how far cells differ from it.

Li-ion: mean and standard deviation of the published cell models that end at 4.2 V (Chen 2020,
Mohtat 2020, Ai 2020), LFP: Prada 2013 with the potential of Afshar 2017; open-circuit curves as
PyBaMM 26.10 gives them (`tests/data/pybamm_ocv_soc.csv`). LFP at full is taken as 3.40 V instead of
that model's 3.60 V, which a rested cell does not keep (common practice, no source), and its spread
is hysteresis and differences between cells (from memory, no source).
"""

from dataclasses import dataclass

import numpy as np

from onboard.block import FloatArray

POINTS = 21
_LI_ION_V = (
    2.767, 3.371, 3.482, 3.546, 3.588, 3.622, 3.651, 3.677, 3.700, 3.724, 3.753,
    3.785, 3.825, 3.866, 3.912, 3.956, 4.002, 4.048, 4.087, 4.133, 4.200,
)  # fmt: skip
_LI_ION_SD_V = (
    0.252, 0.230, 0.174, 0.116, 0.105, 0.094, 0.077, 0.063, 0.054, 0.046, 0.039,
    0.036, 0.024, 0.025, 0.034, 0.036, 0.036, 0.030, 0.010, 0.008, 0.008,
)  # fmt: skip
_LFP_V = (
    2.000, 2.785, 2.978, 3.108, 3.168, 3.186, 3.206, 3.232, 3.252, 3.262, 3.266,
    3.268, 3.269, 3.270, 3.274, 3.293, 3.310, 3.313, 3.314, 3.316, 3.400,
)  # fmt: skip
_LFP_SD_V = (0.25, 0.12, 0.06, 0.04, 0.02, *([0.012] * 14), 0.015, 0.05)


@dataclass(frozen=True)
class Chemistry:
    """One kind of cell.

    Parameters
    ----------
    fraction
        Charge left as a share of full, rising, shape (n,).
    ocv_v
        Open-circuit voltage of a cell there [V].
    sd_v
        How far cells lie about it (one standard deviation) [V].
    cutoff_v
        Voltage of a cell under load to stop at, unless the profile states another [V]: common for
        such cells (LFP 2.5 V, Li-ion 3.0 V), no standard.
    """

    fraction: FloatArray
    ocv_v: FloatArray
    sd_v: FloatArray
    cutoff_v: float

    @property
    def mean_v(self) -> float:
        """Mean over a discharge at no load [V]."""
        return float(np.trapezoid(self.ocv_v, self.fraction))

    def energy_fraction(self) -> FloatArray:
        """Return the share of the energy that is left at each `fraction`."""
        steps = (self.ocv_v[1:] + self.ocv_v[:-1]) / 2 * np.diff(self.fraction)
        energy = np.concatenate([[0.0], np.cumsum(steps)])
        share: FloatArray = energy / energy[-1]
        return share

    def at_energy(self, energy_fraction: float) -> float:
        """Return the charge left where a share of the energy is.

        Examples
        --------
        >>> round(CHEMISTRIES["li-ion"].at_energy(0.2), 3)
        0.22
        """
        return float(np.interp(energy_fraction, self.energy_fraction(), self.fraction))


def _chemistry(volts: tuple[float, ...], sds: tuple[float, ...], cutoff_v: float) -> Chemistry:
    # A finer grid, so that energies are read off it without further ado.
    coarse, fine = np.linspace(0, 1, POINTS), np.linspace(0, 1, 5 * (POINTS - 1) + 1)
    return Chemistry(fine, np.interp(fine, coarse, volts), np.interp(fine, coarse, sds), cutoff_v)


CHEMISTRIES = {
    "li-ion": _chemistry(_LI_ION_V, _LI_ION_SD_V, 3.0),
    "lfp": _chemistry(_LFP_V, _LFP_SD_V, 2.5),
}
