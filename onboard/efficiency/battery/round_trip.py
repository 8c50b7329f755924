"""What a pack loses between being charged and being emptied, by chemistry and rate.

Simulated round trips of published cells at 25 degC (PyBaMM 26.10, DFN model, charged at constant
current, then at constant voltage down to C/20), measured at the cells' terminals. The models have
no side reactions: they give back all charge, and lose energy by voltage alone.
"""

from dataclasses import dataclass

import numpy as np

RATES_PER_H = (0.2, 0.5, 1.0)
"""Currents of those simulations, as a share of the capacity an hour."""

ROUND_TRIP_FRACTION: dict[str, tuple[float, ...]] = {
    "Prada 2013": (0.9734, 0.9595, 0.9491, 0.9339, 0.9223),
    "Chen 2020": (0.9684, 0.9486, 0.9303, 0.9029, 0.8828),
    "Mohtat 2020": (0.9907, 0.9845, 0.9786, 0.9694, 0.9611),
}
"""Energy out over energy in, discharged and charged at 0.2 and 0.2, 0.5 and 0.2, 0.5 and 0.5, 1 and
0.5, 1 and 1 of the capacity an hour."""

CELLS_OF = {"lfp": ("Prada 2013",), "li-ion": ("Chen 2020", "Mohtat 2020")}

ONE_MODEL_SPREAD_FRACTION = 0.4
"""How far real cells lie from the loss of a single model (one standard deviation), as a share of
it. The one LFP model loses more at higher rates than data sheets have it; makers' figures of 3 to
5 % and of 8 % lie within two of these. Common practice, no source."""

WIRING_FRACTION = 0.005
"""Lost between charger and cells beside the cells' own loss, and how well that is known. Common
practice, no source."""

USUAL_DISCHARGE_PER_H = (0.2, 1.0)
USUAL_CHARGE_PER_H = (0.1, 0.5)
"""Where the rates lie that nobody stated. Common practice, no source."""

CHARGE_SD_FRACTION = 0.01 / 3**0.5
"""A healthy pack gives back 0.99 to 1.01 of the charge it took, each as likely. Lithium cells:
approximately all the charge that was stored is extracted (Batteries 2019, 5(3), 57)."""

WALL_LEAST, WALL_MOST = 1.08, 1.25
"""Energy at the wall over energy drawn from the pack, with chargers of 85 to 93 % (makers' pages of
chargers for cars: a hint, no measurement of ours)."""


@dataclass(frozen=True)
class Loss:
    """Energy put in over energy taken out, less 1, and its standard deviation."""

    fraction: float
    sd: float


def cell_loss(cell: str, discharge_per_h: float, charge_per_h: float) -> float:
    """Return a published cell's loss: energy in over energy out, less 1.

    Parameters
    ----------
    cell
        One of `ROUND_TRIP_FRACTION`.
    discharge_per_h, charge_per_h
        Mean currents as a share of the capacity an hour.

    Notes
    -----
    Discharge and charge each have a share, linear between the simulated rates, towards none at
    rest, and beyond the last. The five simulations leave open how the loss at the lowest rates is
    shared out; it is done as both shares grow from there on.

    Examples
    --------
    >>> round(1 / (1 + cell_loss("Chen 2020", 0.5, 0.5)), 4)
    0.9303
    """
    slow, out, both, quick_out, quick = (1.0 / x - 1.0 for x in ROUND_TRIP_FRACTION[cell])
    outward = slow * (out - slow) / (both - slow)
    discharge = (outward, outward + out - slow, outward + out - slow + quick_out - both)
    charge = (slow - outward, slow - outward + both - out, slow - outward + both - out)
    charge = (*charge[:2], charge[2] + quick - quick_out)
    return _share(discharge_per_h, discharge) + _share(charge_per_h, charge)


def _share(rate_per_h: float, knots: tuple[float, ...]) -> float:
    if rate_per_h <= RATES_PER_H[-1]:
        return float(np.interp(rate_per_h, (0.0, *RATES_PER_H), (0.0, *knots)))
    slope = (knots[2] - knots[1]) / (RATES_PER_H[2] - RATES_PER_H[1])
    return knots[2] + slope * (rate_per_h - RATES_PER_H[2])


def pack_loss(
    chemistry: str | None, discharge_per_h: float | None = None, charge_per_h: float | None = None
) -> Loss:
    """Return the loss of a round trip between the charger's output and what the craft drew.

    Parameters
    ----------
    chemistry
        `lfp` or `li-ion`; None for either.
    discharge_per_h, charge_per_h
        Mean currents as a share of the capacity an hour; None where they are not known: then the
        usual ones, with the spread that comes of them.

    Examples
    --------
    >>> known, unknown = pack_loss("lfp", 0.5, 0.2), pack_loss("lfp")
    >>> known.sd < unknown.sd
    True
    """
    cells = CELLS_OF.get(chemistry or "", tuple(ROUND_TRIP_FRACTION))
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
