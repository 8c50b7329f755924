"""Energy that a pack loses between being charged and being emptied, by chemistry and rate.

Based on the simulated round trips of published cells in `chemistry`.
"""

import numpy as np

from onboard.chemistry import CHEMISTRIES
from onboard.dataclass import dataclass
from onboard.efficiency.common_practice import (
    ONE_MODEL_SPREAD_FRACTION,
    USUAL_CHARGE_PER_H,
    USUAL_DISCHARGE_PER_H,
    WIRING_FRACTION,
)

RATES_PER_H = (0.2, 0.5, 1.0)
"""Currents of the simulations, as shares of the capacity per hour."""

CHARGE_SD_FRACTION = 0.01 / 3**0.5
"""Standard deviation of charge out over charge in: uniform from 0.99 to 1.01 for a healthy pack.
Lithium cells: approximately all the charge that was stored is extracted (Batteries 2019, 5(3),
57)."""

WALL_LEAST, WALL_MOST = 1.08, 1.25
"""Energy at the wall over energy drawn from the pack, with chargers of 85 to 93 % (makers' pages of
chargers for cars: an indication, not a measurement made here)."""

MODELS = {
    cell: ratios
    for chemistry in CHEMISTRIES.values()
    for cell, ratios in chemistry.round_trip_fraction.items()
}
"""Round-trip ratios of every published cell; see `Chemistry.round_trip_fraction`."""


@dataclass(frozen=True)
class Loss:
    """Energy in over energy out, less 1, and its standard deviation."""

    fraction: float
    sd: float


def cell_loss(cell: str, discharge_per_h: float, charge_per_h: float) -> float:
    """Return a published cell's loss: energy in over energy out, less 1.

    Parameters
    ----------
    cell
        One of `MODELS`.
    discharge_per_h, charge_per_h
        Mean currents as shares of the capacity per hour.

    Notes
    -----
    Discharge and charge each contribute a part that is linear between the simulated rates, zero at
    rest, and extrapolated beyond the highest. The five simulations do not determine how the loss at
    the lowest rates is divided between the two; it is divided in proportion to their growth above.

    Examples
    --------
    >>> round(1 / (1 + cell_loss("Chen 2020", 0.5, 0.5)), 4)
    0.9303
    """
    slow, out, both, quick_out, quick = (1.0 / x - 1.0 for x in MODELS[cell])
    outward = slow * (out - slow) / (both - slow)
    discharge = (outward, outward + out - slow, outward + out - slow + quick_out - both)
    charge = (slow - outward, slow - outward + both - out, slow - outward + both - out)
    charge = (*charge[:2], charge[2] + quick - quick_out)
    return _part(discharge_per_h, discharge) + _part(charge_per_h, charge)


def _part(rate_per_h: float, knots: tuple[float, ...]) -> float:
    if rate_per_h <= RATES_PER_H[-1]:
        return float(np.interp(rate_per_h, (0.0, *RATES_PER_H), (0.0, *knots)))
    slope = (knots[2] - knots[1]) / (RATES_PER_H[2] - RATES_PER_H[1])
    return knots[2] + slope * (rate_per_h - RATES_PER_H[2])


def pack_loss(
    chemistry: str | None, discharge_per_h: float | None = None, charge_per_h: float | None = None
) -> Loss:
    """Return the loss of a round trip between the charger's output and the craft's consumption.

    Parameters
    ----------
    chemistry
        One of `CHEMISTRIES`; None if unknown: all of them.
    discharge_per_h, charge_per_h
        Mean currents as shares of the capacity per hour; None if unknown: the usual range, whose
        width adds to the standard deviation.

    Examples
    --------
    >>> known, unknown = pack_loss("lfp", 0.5, 0.2), pack_loss("lfp")
    >>> known.sd < unknown.sd
    True
    """
    cells = MODELS if chemistry is None else CHEMISTRIES[chemistry].round_trip_fraction
    out = USUAL_DISCHARGE_PER_H if discharge_per_h is None else (discharge_per_h, discharge_per_h)
    back = USUAL_CHARGE_PER_H if charge_per_h is None else (charge_per_h, charge_per_h)
    least = np.array([cell_loss(cell, out[0], back[0]) for cell in cells])
    most = np.array([cell_loss(cell, out[1], back[1]) for cell in cells])
    mid = (least + most) / 2
    mean = float(mid.min() + mid.max()) / 2
    of_cells = float(mid.max() - mid.min()) / 2 or ONE_MODEL_SPREAD_FRACTION * mean
    of_rates = float((most - least).mean()) / 2
    sd = (of_cells**2 + of_rates**2 + WIRING_FRACTION**2) ** 0.5
    return Loss(mean + WIRING_FRACTION, sd)
